"""Heat from walls and furniture that still follow a past change, with what the log itself says about it.

The mass is a prior (a characterisation, or bands by volume and construction) run through the measured temperatures
from the start of the log, and updated by the evidence in the log: while the unit runs at one power its capacity is one
number, so what the rest of the balance drifts by between successive stretches is the mass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline
from reduction.room.room_drivers import Drivers, room_drivers
from reduction.room.slow_mass_evidence import Evidence, apparent_capacity, own_reasons
from reduction.room.slow_mass_model import (
    HOUR_S,
    Choices,
    Stores,
    choices,
    coefficient_names,
    design,
    prior,
    prior_stores,
)
from reduction.room.slow_mass_shares import SHAPE_REL_U, Share, joint
from reduction.session import Room, Session

FloatArray = NDArray[np.float64]

LEAST_U_W = 2.0


@dataclass(frozen=True)
class SlowMassRelease:
    """Heat the mass gives to the room in one window, positive where it adds to what the unit must remove.

    `shares` part its error into what other windows share and what they do not; without any, u is the window's own.
    """

    value_w: float
    u_w: float
    how: str
    shares: tuple[Share, ...] = ()


@dataclass(frozen=True)
class Beliefs:
    """For each choice of time constants the release in each window [W], shape (choices, windows), and a log weight.

    `at` and `pull` are what one prior standard deviation of each coefficient gives, before and after the evidence,
    shape (choices, windows, coefficients). [W]
    """

    mean: FloatArray
    at: FloatArray
    pull: FloatArray
    log_weight: FloatArray

    def mixed(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Mean and standard deviation over the choices, shape (windows,) [W], and the choices' weights."""
        weight = np.exp(self.log_weight - self.log_weight.max())
        weight /= weight.sum()
        mean = weight @ self.mean
        variance = weight @ (np.sum(self.pull * self.at, axis=2) + (self.mean - mean) ** 2) + (SHAPE_REL_U * mean) ** 2
        return mean, np.sqrt(np.maximum(variance, LEAST_U_W**2)), weight


def _updated(
    before: Beliefs,
    at_windows: FloatArray,
    expected_w: FloatArray,
    seen: FloatArray,
    evidence: Evidence,
    drivers: Drivers,
) -> Beliefs:
    """Condition the normal priors on the apparent capacities, which the release lowers.

    Coefficients count in their prior's standard deviations: `at_windows` (choices, windows, coefficients) and `seen`
    (choices, stretches, coefficients) are what one of each gives, `expected_w` (choices, stretches) what the means do.
    """
    own_w, own_covariance = own_reasons(evidence, drivers)
    whiten = np.linalg.inv(np.linalg.cholesky(own_covariance))
    seen = -whiten @ seen
    off = (evidence.value_w - own_w + expected_w) @ whiten.T
    told = (off[:, None, :] @ seen)[:, 0]
    precision = np.eye(seen.shape[2]) + seen.swapaxes(1, 2) @ seen
    covariance = np.linalg.inv(precision)
    best = (covariance @ told[:, :, None])[:, :, 0]
    misfit = np.sum(off**2, axis=1) - np.sum(told * best, axis=1)
    return Beliefs(
        before.mean + (at_windows @ best[:, :, None])[:, :, 0],
        at_windows,
        at_windows @ covariance,
        before.log_weight - 0.5 * (misfit + np.linalg.slogdet(precision).logabsdet),
    )


def _beliefs(
    stores: Stores, chosen: Choices, drivers: Drivers, windows: NDArray[np.int64], evidence: Evidence
) -> tuple[Beliefs, Beliefs]:
    """Before and after the evidence."""
    every = design(drivers, np.concatenate([windows, evidence.spans]) if evidence.usable else windows, chosen)
    mean, sd = prior(stores, drivers, chosen)
    expected, unit = (every @ mean[:, :, None])[:, :, 0], every * sd[:, None, :]
    n = len(windows)
    before = Beliefs(expected[:, :n], unit[:, :n], unit[:, :n], np.log(chosen.weight))
    if not evidence.usable:
        return before, before
    return before, _updated(before, unit[:, :n], expected[:, n:], unit[:, n:], evidence, drivers)


def slow_mass_release(
    timeline: Timeline, session: Session, windows: Sequence[tuple[float, float]]
) -> tuple[SlowMassRelease, ...]:
    """Heat that slow mass gives to the room in each window, beyond UA·ΔT and C·dT/dt.

    Parameters
    ----------
    timeline
        All channels on one grid, from the start of the log.
    session
        For the room and the events.
    windows
        Start and end of each window, Unix time. [s]

    Returns
    -------
    tuple of SlowMassRelease
        In the order of the windows; positive adds to the capacity.

    References
    ----------
    Method §1 "Slow mass", eq. (1) term Q_mass.
    """
    drivers = room_drivers(timeline, session) if windows else None
    if drivers is None:
        return tuple(SlowMassRelease(0.0, 0.0, "No room temperature, so no estimate.") for _ in windows)
    evidence = apparent_capacity(timeline, session, drivers)
    stores = prior_stores(session.room)
    chosen = choices(stores)
    before, after = _beliefs(stores, chosen, drivers, drivers.spans(windows), evidence)
    (_, prior_u, _), (value, u, weight) = before.mixed(), after.mixed()
    slow_s = float(weight @ chosen.stores_s[1])
    since_s = np.maximum(np.mean(windows, axis=1) - drivers.start_s, 0.0)
    together = joint(since_s, weight, after.mean, after.at, after.pull, coefficient_names(drivers))
    shares = together.shares(session.room.name or session.name, session.name, LEAST_U_W)
    return tuple(
        SlowMassRelease(float(v), float(s), _how(session.room, evidence, float(p), float(s), slow_s), parts)
        for v, s, p, parts in zip(value, u, prior_u, shares, strict=True)
    )


def _how(room: Room, evidence: Evidence, prior_u_w: float, u_w: float, slow_s: float) -> str:
    known = "the room's characterisation" if room.slow_mass else "bands for a room of this volume and construction"
    said = (
        f"narrowed from ±{2 * prior_u_w:.0f} W to ±{2 * u_w:.0f} W by {evidence.value_w.size} stretches at one power"
        if evidence.usable
        else "no long stretch at constant unit power to narrow it"
    )
    soak_h = np.log(2.0) * slow_s / HOUR_S
    return f"Stores of heat run through the log, from {known}; {said}. Each {soak_h:.0f} h more of soak would halve it."
