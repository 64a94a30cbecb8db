"""What a log says about the slow mass: at one unit power the capacity is one number, so the drift is the mass."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, median_filter

from reduction.align.timeline import Timeline
from reduction.room.relaxation import span_means
from reduction.room.room_drivers import Drivers, mean_cells, total_power
from reduction.session import Role, Session
from reduction.windows.disturbances import doors_seen

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

HEAT_ROLES = (
    (Role.HEATER_CYCLING_POWER, Role.HEATER_ENERGY),
    (Role.HEATER_CONSTANT_POWER,),
    (Role.OTHER_POWER, Role.OTHER_ENERGY),
)
SHORTEST_RUN_S = 3600.0
SHORTEST_STRETCH_S = 900.0
MOST_STRETCHES = 40
LEVEL_STEP = 0.06  # of the unit's power, or LEVEL_STEP_W: more than noise and slow drift with outdoor temperature
LEVEL_STEP_W = 25.0
DISTURBING = frozenset({"door", "sun", "fan", "frost", "exclude"})
SWITCHED_W = 100.0  # between off and on; a smaller step needs no whole cycles
BY_DEGREES = 0.15  # of its time that a heater spends midway: a switch is hardly ever seen there
DISTURBED_S = 1800.0  # a door or the sun keeps its effect for about this long
OUTDOOR_SLOPE = (-0.008, 0.006)  # capacity per K of outdoor air: published surfaces of room units, mean and sd
ROOM_SLOPE = (0.015, 0.015)  # capacity per K of room air, dry coil to wet coil
CAPACITY_DRIFT = 0.004  # what else a unit's capacity wanders by at one power, part of capacity
CAPACITY_DRIFT_S = 2.0 * 3600.0
AIR_SIDE_U = 0.15  # of a change of capacity that return less supply temperature shows: mixing, flow, place of the probe
AIR_SIDE_DRIFT = 0.002  # part of capacity that the air side at one fan speed does not follow
LEAST_AIR_SIDE_K = 4.0
LEAST_NOISE_W = 2.0
FREE_LEVEL_W = 1000.0  # of the capacity of a run: far more than anyone doubts


@dataclass(frozen=True)
class Evidence:
    """Apparent capacity (balance without the mass) of successive stretches, whole heater cycles each.

    `spans` cells, shape (m, 2); `value_w` shape (m,); `group` runs at one unit power, shape (m,); `noise_w` standard
    deviation of one stretch; `slope_k_per_s`, `delta_k` (surfaces, m), `outdoor_k`, `room_k` (from the run's mean);
    `air_side` return less supply temperature over its mean in the run, less one: how capacity changed at one air flow.
    """

    spans: IntArray
    value_w: FloatArray
    group: IntArray
    noise_w: float
    slope_k_per_s: FloatArray
    delta_k: FloatArray
    outdoor_k: FloatArray
    room_k: FloatArray
    air_side: FloatArray | None

    @property
    def usable(self) -> bool:
        """Whether there is anything to compare: four stretches or more, three in one run."""
        return self.value_w.size >= 4 and np.isfinite(self.noise_w)


def _undisturbed(drivers: Drivers, timeline: Timeline, session: Session) -> NDArray[np.bool_]:
    """Cells in which nothing but unit, heaters and envelope moved the room's heat: no door, no sun, nobody coming."""
    calm = np.ones(drivers.room_c.size, dtype=bool)
    spans = [(e.time_utc, e.end_utc or e.time_utc) for e in session.events if e.kind in DISTURBING]
    spans += [(sun.start_utc, sun.end_utc) for sun in session.solar if sun.start_utc and sun.end_utc]
    spans += [(visit.start_utc, visit.end_utc) for visit in session.people if visit.start_utc and visit.end_utc]
    seconds = [(start.timestamp(), end.timestamp()) for start, end in spans]
    seconds += [(door.start_s, door.end_s) for door in doors_seen(timeline)]
    for start_s, end_s in seconds:
        (first, last), *_ = drivers.spans([(start_s - 60.0, end_s + DISTURBED_S)])
        calm[first:last] = False
    return calm


def _runs(power_w: FloatArray, calm: NDArray[np.bool_], step_s: float) -> list[tuple[int, int]]:
    """Spans of cells in which the unit's power makes no step."""
    minute = max(1, round(60.0 / step_s))
    smooth = median_filter(power_w, size=5 * minute + 1, mode="nearest")
    reach = 3 * minute
    jump = np.zeros(smooth.size)
    jump[reach:-reach] = np.abs(smooth[2 * reach :] - smooth[: -2 * reach])
    limit = np.maximum(LEVEL_STEP * median_filter(smooth, size=30 * minute + 1, mode="nearest"), LEVEL_STEP_W)
    labels, count = label((jump < limit) & calm)
    spans = [np.flatnonzero(labels == i + 1)[[0, -1]] for i in range(count)]
    return [(int(a), int(b) + 1) for a, b in spans if (b - a) * step_s >= SHORTEST_RUN_S]


def _cycle_starts(heater_w: FloatArray, first: int, last: int) -> IntArray:
    """Cells in which a switched heater comes on; every cell of one that is turned by degrees, or not at all."""
    part = heater_w[first:last]
    low, high = np.percentile(part, [2.0, 98.0])
    between = np.abs(part - (low + high) / 2.0) < (high - low) / 4.0
    if high - low < SWITCHED_W or between.mean() > BY_DEGREES:
        return np.arange(first, last)
    on = part > (low + high) / 2.0
    return first + 1 + np.flatnonzero(on[1:] & ~on[:-1])


def _stretches(starts: IntArray, least_cells: float) -> list[tuple[int, int]]:
    """Neighbouring spans between cycle starts, each at least so long."""
    edges = [int(starts[0])] if starts.size else []
    for start in starts[1:]:
        if start - edges[-1] >= least_cells:
            edges.append(int(start))
    return list(pairwise(edges))


def _end_slope(room_c: FloatArray, spans: IntArray, step_s: float) -> FloatArray:
    """Change of the room from one end to the other, each end averaged over a minute, per second."""
    half = max(1, round(30.0 / step_s))
    ends = np.clip(np.stack([spans - half, spans + half], axis=-1), 0, room_c.size)
    at = span_means(room_c, ends.reshape(-1, 2)).reshape(spans.shape)
    return np.asarray((at[:, 1] - at[:, 0]) / ((spans[:, 1] - spans[:, 0]) * step_s))


def _noise(value_w: FloatArray, group: IntArray) -> float:
    """Standard deviation of one stretch, from second differences, so that a drift does not count as noise."""
    bends = (value_w[2:] - 2.0 * value_w[1:-1] + value_w[:-2])[group[2:] == group[:-2]]
    spread = 1.4826 * np.median(np.abs(bends)) / np.sqrt(6.0) if bends.size else np.inf
    return max(float(spread), LEAST_NOISE_W)


def apparent_capacity(timeline: Timeline, session: Session, drivers: Drivers) -> Evidence:
    """Balance without the mass over successive stretches at constant unit power.

    Parameters
    ----------
    timeline
        All channels on one grid.
    session
        For events that disturb the balance.
    drivers
        The room's temperatures, UA and C.

    Returns
    -------
    Evidence
        Empty (`usable` false) where the unit's power is unknown or never constant for an hour.
    """
    none = np.zeros(drivers.room_c.size)
    unit = total_power(timeline, Role.UNIT_POWER, Role.UNIT_ENERGY)
    heat = [total_power(timeline, *roles) for roles in HEAT_ROLES]
    runs = [] if unit is None else _runs(unit, _undisturbed(drivers, timeline, session), drivers.step_s)
    switched = heat[0] if heat[0] is not None else none
    total_s = sum(b - a for a, b in runs) * drivers.step_s
    least = max(SHORTEST_STRETCH_S, total_s / MOST_STRETCHES) / drivers.step_s
    by_run = [_stretches(_cycle_starts(switched, a, b), least) for a, b in runs]
    spans = np.array([s for run in by_run for s in run], dtype=np.int64).reshape(-1, 2)
    group = np.repeat(np.arange(len(by_run)), [len(run) for run in by_run])
    return _evidence(timeline, drivers, np.asarray(sum((h for h in heat if h is not None), start=none)), spans, group)


def _evidence(timeline: Timeline, drivers: Drivers, heat_w: FloatArray, spans: IntArray, group: IntArray) -> Evidence:
    slope = _end_slope(drivers.room_c, spans, drivers.step_s)
    room = span_means(drivers.room_c, spans)
    around = [span_means(t, spans) - room for t in drivers.neighbours_c]
    delta = np.stack(around) if around else np.zeros((0, room.size))
    outdoor = mean_cells(timeline, Role.CONDENSER_INLET_TEMP)
    if outdoor is None:
        outdoor = mean_cells(timeline, Role.OUTDOOR_TEMP)
    value = span_means(heat_w, spans) + drivers.ua_w_per_k @ delta - drivers.c_j_per_k * slope
    return Evidence(
        spans=spans,
        value_w=value,
        group=group,
        noise_w=_noise(value, group),
        slope_k_per_s=slope,
        delta_k=delta,
        outdoor_k=_from_mean(span_means(outdoor, spans) if outdoor is not None else np.zeros(room.size), group),
        room_k=_from_mean(room, group),
        air_side=_air_side(timeline, drivers, spans, group),
    )


def _air_side(timeline: Timeline, drivers: Drivers, spans: IntArray, group: IntArray) -> FloatArray | None:
    supply = mean_cells(timeline, Role.SUPPLY_TEMP)
    if supply is None or not group.size:
        return None
    back = mean_cells(timeline, Role.RETURN_TEMP)
    drop = span_means((drivers.room_c if back is None else back) - supply, spans)
    return _from_mean(drop, group) / drop.mean() if drop.min() > LEAST_AIR_SIDE_K else None


def _from_mean(values: FloatArray, group: IntArray) -> FloatArray:
    """Values less the mean of their group along the last axis, shape kept."""
    same = (group[:, None] == group[None, :]).astype(float)
    return np.asarray(values - values @ (same / same.sum(axis=1)) if group.size else values)


def own_reasons(evidence: Evidence, drivers: Drivers) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of the apparent capacity from everything but the mass, each run's level left free.

    What the air side shows of the unit's own changes (without it, its usual answer to outdoor and room air), errors of
    UA and C, what else it wanders by, noise of a stretch.

    Parameters
    ----------
    evidence
        Apparent capacity of the stretches.
    drivers
        For the uncertainty of UA and C.

    Returns
    -------
    tuple of numpy.ndarray
        Shape (m,) [W] and (m, m) [W²].
    """
    level = float(evidence.value_w.mean())
    if evidence.air_side is not None:
        own, wander = [(evidence.air_side, 1.0, AIR_SIDE_U)], AIR_SIDE_DRIFT
    else:
        own, wander = [(evidence.outdoor_k, *OUTDOOR_SLOPE), (evidence.room_k, *ROOM_SLOPE)], CAPACITY_DRIFT
    mean = level * (1.0 + sum(change * slope for change, slope, _ in own))
    columns = np.stack(
        [
            *(level * u * change for change, _, u in own),
            drivers.c_u_j_per_k * evidence.slope_k_per_s,
            *(drivers.ua_u_w_per_k[:, None] * evidence.delta_k),
        ]
    )
    middle = evidence.spans.mean(axis=1) * drivers.step_s
    drift = (wander * level) ** 2 * np.exp(-np.abs(np.subtract.outer(middle, middle)) / CAPACITY_DRIFT_S)
    free = FREE_LEVEL_W**2 * (evidence.group[:, None] == evidence.group[None, :])
    noise = evidence.noise_w**2 * np.eye(middle.size)
    return np.asarray(mean), columns.T @ columns + drift + free + noise
