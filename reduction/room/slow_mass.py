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
from reduction.room.slow_mass_model import HOUR_S, choices, design, prior, prior_stores, tables
from reduction.session import Room, Session

FloatArray = NDArray[np.float64]

LEAST_U_W = 2.0


@dataclass(frozen=True)
class SlowMassRelease:
    """Heat the mass gives to the room in one window, positive where it adds to what the unit must remove."""

    value_w: float
    u_w: float
    how: str


@dataclass(frozen=True)
class Belief:
    """Release in each window [W], shape (k,), and how well its time constants explain the log (log weight)."""

    mean: FloatArray
    variance: FloatArray
    log_weight: float
    slow_s: float


def _mixture(beliefs: list[Belief]) -> tuple[FloatArray, FloatArray, float]:
    """Mean and standard deviation over weighted choices of time constants, and the slow one's mean. [W, W, s]"""
    logs = np.array([b.log_weight for b in beliefs])
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    means = np.stack([b.mean for b in beliefs])
    mean = weight @ means
    variance = weight @ (np.stack([b.variance for b in beliefs]) + (means - mean) ** 2)
    slow_s = float(weight @ np.array([b.slow_s for b in beliefs]))
    return mean, np.sqrt(np.maximum(variance, LEAST_U_W**2)), slow_s


def _updated(
    before: Belief,
    at_windows: FloatArray,
    at_stretches: FloatArray,
    mean: FloatArray,
    sd: FloatArray,
    evidence: Evidence,
    own: tuple[FloatArray, FloatArray],
) -> Belief:
    """Condition one choice's normal prior on the apparent capacities (which the release would lower)."""
    seen = -at_stretches * sd
    total = seen @ seen.T + own[1]
    cross = (at_windows * sd) @ seen.T
    factor = np.linalg.cholesky(total)
    off = np.linalg.solve(factor, evidence.value_w - own[0] + at_stretches @ mean)
    part = np.linalg.solve(factor, cross.T)
    evidence_log = -0.5 * float(off @ off) - float(np.log(np.diag(factor)).sum())
    return Belief(
        before.mean + part.T @ off,
        before.variance - np.sum(part**2, axis=0),
        before.log_weight + evidence_log,
        before.slow_s,
    )


def _beliefs(
    room: Room, drivers: Drivers, windows: NDArray[np.int64], evidence: Evidence
) -> tuple[list[Belief], list[Belief]]:
    """Before and after the evidence, one for each choice of time constants."""
    stores = prior_stores(room)
    both = tables(drivers, np.concatenate([windows, evidence.spans]) if evidence.usable else windows)
    own = own_reasons(evidence, drivers) if evidence.usable else None
    designs: dict[tuple[float, ...], FloatArray] = {}
    before, after = [], []
    for choice in choices(stores):
        mean, sd = prior(stores, drivers, choice)
        if choice.taus_s not in designs:
            designs[choice.taus_s] = design(both, drivers, choice)
        wanted, at_stretches = np.split(designs[choice.taus_s], [len(windows)])
        belief = Belief(wanted @ mean, np.sum((wanted * sd) ** 2, axis=1), float(np.log(choice.weight)), choice.slow_s)
        before.append(belief)
        if own is not None:
            after.append(_updated(belief, wanted, at_stretches, mean, sd, evidence, own))
    return before, after or before


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
    drivers = room_drivers(timeline, session)
    if drivers is None:
        return tuple(SlowMassRelease(0.0, 0.0, "No room temperature, so no estimate.") for _ in windows)
    evidence = apparent_capacity(timeline, session, drivers)
    before, after = _beliefs(session.room, drivers, drivers.spans(windows), evidence)
    (_, prior_u, _), (value, u, slow_s) = _mixture(before), _mixture(after)
    return tuple(
        SlowMassRelease(float(v), float(s), _how(session.room, evidence, float(p), float(s), slow_s))
        for v, s, p in zip(value, u, prior_u, strict=True)
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
