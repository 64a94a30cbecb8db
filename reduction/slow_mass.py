"""Heat from walls and furniture that still follow a past change, with what the log itself says about it.

What the mass is like is drawn from a prior (a characterisation, or bands by volume and construction), each draw is
run through the measured temperatures from the start of the log, and the draws are then conditioned on the evidence in
the log: while the unit runs at one power its capacity is one number, so what the rest of the balance drifts by between
successive stretches is the mass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.relaxation import TAU_GRID_S, at_time_constant, relaxing_part, span_means
from reduction.room_drivers import Drivers, room_drivers
from reduction.session import Room, Session
from reduction.slow_mass_evidence import Evidence, apparent_capacity, condition
from reduction.timeline import Timeline

FloatArray = NDArray[np.float64]

DRAWS = 2000
HOUR_S = 3600.0
FILM_W_PER_M2_K = 3.2  # air to surface, convection only: 2.5 (walls) to 5 (floor, fan on), handbook range from memory
FILM_LOG_SD = 0.45
INNER_SURFACE_PER_VOLUME = 6.1  # area = 6.1 V^(2/3): a 4 × 3 × 2.5 m room has 59 m² around 30 m³
STOREY_M = 2.5
# Effective heat capacity per floor area, ISO 13790 table 12 classes; "unknown" lies between light and heavy.
CLASS_J_PER_M2_K = {"very_light": 80e3, "light": 110e3, "medium": 165e3, "heavy": 260e3, "unknown": 150e3}
ONE_ROOM_FACTOR = 1.5  # the classes count half of each partition for a whole building; a single room sees all of it
CAPACITY_LOG_SD = {"unknown": 0.75}
MIDDLE_TAU_S = (1.5 * HOUR_S, 0.6)  # outer centimetres of plaster, boards, books: median, sd of log
FAST_TAU_S = (0.4 * HOUR_S, 0.6)  # the fast store behind the air: 5 to 60 min
HISTORY_SD_K = 0.7  # what the room may have changed by before the log starts
HISTORY_RATE_K_PER_H = 0.4  # what a neighbour may have been drifting by before the log starts


@dataclass(frozen=True)
class SlowMassRelease:
    """Heat the mass gives to the room in one window, positive where it adds to what the unit must remove."""

    value_w: float
    u_w: float
    how: str


@dataclass(frozen=True)
class MassDraws:
    """Plausible rooms: conductance [W/K] and time constant [s] of each store, shape (draws, stores)."""

    conductance_w_per_k: FloatArray
    tau_s: FloatArray
    neighbour_share: FloatArray
    fast_share: FloatArray
    fast_tau_s: FloatArray
    room_history_k: FloatArray
    soak_s: FloatArray
    neighbour_history_k_per_s: FloatArray


def _log_normal(rng: np.random.Generator, median: float, log_sd: float, draws: int) -> FloatArray:
    return np.asarray(median * np.exp(log_sd * rng.standard_normal(draws)))


def _prior_stores(room: Room, rng: np.random.Generator, draws: int) -> tuple[FloatArray, FloatArray]:
    """Two relaxations, middle and slow, from volume and construction."""
    area_m2 = INNER_SURFACE_PER_VOLUME * room.volume_m3 ** (2.0 / 3.0)
    floor_m2 = room.floor_m2 or room.volume_m3 / STOREY_M
    film = _log_normal(rng, FILM_W_PER_M2_K * area_m2, FILM_LOG_SD, draws)
    capacity = _log_normal(
        rng,
        ONE_ROOM_FACTOR * CLASS_J_PER_M2_K[room.construction] * floor_m2,
        CAPACITY_LOG_SD.get(room.construction, 0.6),
        draws,
    )
    middle = rng.uniform(0.1, 0.7, draws)
    tau_middle = _log_normal(rng, *MIDDLE_TAU_S, draws)
    tau_slow = np.maximum(capacity / film / (1.0 - middle), 1.5 * tau_middle)
    return film[:, None] * np.stack([middle, 1.0 - middle], 1), np.stack([tau_middle, tau_slow], 1)


def _known_stores(room: Room, rng: np.random.Generator, draws: int) -> tuple[FloatArray, FloatArray]:
    """One relaxation, from the characterisation and its U."""
    mass = room.slow_mass
    assert mass is not None  # noqa: S101 - narrows the type; the caller has looked
    conductance = mass.conductance_w_per_k
    capacity = mass.capacity_j_per_k
    h = _log_normal(rng, conductance, min(mass.conductance_u95_w_per_k / 2.0 / conductance, 0.6), draws)
    c = _log_normal(rng, capacity, min(mass.capacity_u95_j_per_k / 2.0 / capacity, 0.6), draws)
    return h[:, None], (c / h)[:, None]


def draw_masses(room: Room, neighbours: int, rng: np.random.Generator, draws: int = DRAWS) -> MassDraws:
    """Draw plausible rooms from a characterisation where there is one, else from the prior bands.

    Parameters
    ----------
    room
        As the tester knows it.
    neighbours
        Number of surfaces of the envelope.
    rng
        Source of the draws.
    draws
        How many.

    Returns
    -------
    MassDraws
        One plausible room in each row.

    References
    ----------
    METHOD §1 "Slow mass"; ISO 13790 classes of effective capacity per floor area.
    """
    stores = _known_stores if room.slow_mass else _prior_stores
    conductance, tau = stores(room, rng, draws)
    massive = rng.uniform(0.2, 0.95, (draws, neighbours, 1))  # the rest: window panes, leaks, thin doors
    split = rng.dirichlet(np.ones(tau.shape[1]), (draws, neighbours))
    return MassDraws(
        conductance_w_per_k=conductance,
        tau_s=np.clip(tau, TAU_GRID_S[0], TAU_GRID_S[-1]),
        neighbour_share=massive * split,
        fast_share=rng.uniform(0.5, 0.95, draws),
        fast_tau_s=_log_normal(rng, *FAST_TAU_S, draws),
        room_history_k=HISTORY_SD_K * rng.standard_normal(draws),
        soak_s=np.exp(rng.uniform(np.log(0.25 * HOUR_S), np.log(24.0 * HOUR_S), draws)),
        neighbour_history_k_per_s=HISTORY_RATE_K_PER_H / HOUR_S * rng.standard_normal((draws, neighbours)),
    )


def _decays(drivers: Drivers, edges: NDArray[np.int64]) -> FloatArray:
    """Mean of exp(−t/τ) over each span for each τ of the grid, t from the first cell."""
    since = (np.arange(drivers.room_c.size) * drivers.step_s)[None, :]
    return span_means(np.exp(-since / TAU_GRID_S[:, None]), edges)


def release_draws(masses: MassDraws, drivers: Drivers, edges: NDArray[np.int64]) -> FloatArray:
    """Heat each plausible room's mass gives in each span, beyond UA·ΔT and C·dT/dt.

    Parameters
    ----------
    masses
        Plausible rooms.
    drivers
        Measured temperatures and the room's UA and C.
    edges
        First and one-past-last cell of each span, shape (k, 2).

    Returns
    -------
    numpy.ndarray
        Positive into the room, shape (draws, k). [W]

    References
    ----------
    METHOD §1 "Slow mass"; the formula of `reduction.relaxation`.
    """
    room = span_means(relaxing_part(drivers.room_c, drivers.step_s, TAU_GRID_S), edges)
    around = [span_means(relaxing_part(t, drivers.step_s, TAU_GRID_S), edges) for t in drivers.neighbours_c]
    decay = _decays(drivers, edges)
    out = np.zeros((masses.soak_s.size, edges.shape[0]))
    for p in range(masses.tau_s.shape[1]):
        tau = masses.tau_s[:, p]
        left = at_time_constant(decay, tau)
        start_k = masses.room_history_k * np.exp(-masses.soak_s / tau)
        lag_k = at_time_constant(room, tau) + start_k[:, None] * left
        out -= masses.conductance_w_per_k[:, [p]] * lag_k
        for k, table in enumerate(around):
            before_k = masses.neighbour_history_k_per_s[:, k] * tau
            lag_k = at_time_constant(table, tau) + before_k[:, None] * left
            out -= drivers.ua_w_per_k[k] * masses.neighbour_share[:, k, [p]] * lag_k
    return out + _fast_lag(masses, drivers, room, edges)


def _fast_lag(masses: MassDraws, drivers: Drivers, room: FloatArray, edges: NDArray[np.int64]) -> FloatArray:
    """C·dT/dt less the heat that the fast store really takes while it trails the air."""
    slope = span_means(np.gradient(drivers.room_c, drivers.step_s), edges)
    trailing = at_time_constant(room, masses.fast_tau_s) / masses.fast_tau_s[:, None]
    return np.asarray(drivers.c_j_per_k * masses.fast_share[:, None] * (slope - trailing))


def slow_mass_release(
    timeline: Timeline, session: Session, windows: Sequence[tuple[float, float]]
) -> tuple[SlowMassRelease, ...]:
    """Heat that slow mass gives to the room in each window, beyond UA·ΔT and C·dT/dt.

    Parameters
    ----------
    timeline
        All channels on one grid, from the start of the log.
    session
        For the room, the roles and the seed.
    windows
        Start and end of each window, Unix time. [s]

    Returns
    -------
    tuple of SlowMassRelease
        In the order of the windows; positive adds to the capacity.

    References
    ----------
    METHOD §1 "Slow mass", eq. (1) term Q_mass.
    """
    drivers = room_drivers(timeline, session)
    if drivers is None:
        return tuple(SlowMassRelease(0.0, 0.0, "No room temperature, so no estimate.") for _ in windows)
    rng = np.random.default_rng(session.settings.seed)
    masses = draw_masses(session.room, len(drivers.neighbours_c), rng)
    spans = drivers.spans(windows)
    target = release_draws(masses, drivers, spans)
    evidence = apparent_capacity(timeline, session, drivers)
    prior_u = target.std(axis=0)
    if evidence.usable:
        value, u = condition(target, release_draws(masses, drivers, evidence.spans), evidence, drivers, rng)
    else:
        value, u = target.mean(axis=0), prior_u
    return tuple(
        SlowMassRelease(float(v), float(s), _how(session.room, evidence, float(p), float(s)))
        for v, s, p in zip(value, u, prior_u, strict=True)
    )


def _how(room: Room, evidence: Evidence, prior_u_w: float, u_w: float) -> str:
    known = "the room's characterisation" if room.slow_mass else "bands for a room of this volume and construction"
    said = (
        f"narrowed from ±{2 * prior_u_w:.0f} W to ±{2 * u_w:.0f} W by {evidence.value_w.size} stretches at one power"
        if evidence.usable
        else "no long stretch at constant unit power to narrow it"
    )
    tau_h = room.slow_mass.capacity_j_per_k / room.slow_mass.conductance_w_per_k / HOUR_S if room.slow_mass else 3.0
    return (
        f"Stores of heat run through the log, from {known}; {said}. A soak of {tau_h:.1f} h more would about halve it."
    )
