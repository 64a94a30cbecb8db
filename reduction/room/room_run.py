"""The part of a session that can characterise a room: the unit off, heat known, temperatures logged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.align.series import POWER_ROLES
from reduction.align.timeline import Series, Timeline
from reduction.errors import NothingToReduce, Place
from reduction.room.relaxation import fill_gaps
from reduction.room.room_drivers import cell_factor, coarsened, mean_cells, total_power
from reduction.room.room_regression import RoomLog
from reduction.session import Role, Session
from reduction.uncertainty.ledger import Ledger
from reduction.uncertainty.readings import enter_temperature
from reduction.windows.cycles import heater_cycle

FloatArray = NDArray[np.float64]

HOUR_S = 3600.0
UNIT_OFF_W = 30.0  # standby and a control board; more than that may cool
COLD_SUPPLY_K = 3.0  # under the air that enters: a coil at work, where the unit's power was not logged; common practice
SHORTEST_RUN_S = 1.9 * HOUR_S  # two hours, less what first and last rows of the loggers leave out
OBSERVED_EVERY_S = 300.0
SMOOTH_S = 600.0  # where no heater switches
HEAT_ROLES = (Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER, Role.OTHER_POWER)
COUNTER_ROLES = (Role.HEATER_ENERGY, Role.OTHER_ENERGY)


@dataclass(frozen=True)
class Run:
    """A run with the unit off, and what its sensors may be wrong by.

    `to` names the surfaces; `room_u_k`, `around_u_k` standard uncertainties of the temperatures [K]; `heat_u_w` one
    course for each independent error of the heat, shape (n,) each. [W]
    """

    log: RoomLog
    to: tuple[str, ...]
    room_u_k: float
    around_u_k: tuple[float, ...]
    heat_u_w: tuple[FloatArray, ...]


def _nothing(found: str, expected: str, remedy: str) -> NothingToReduce:
    return NothingToReduce(place=Place("session"), found=found, expected=expected, remedy=remedy)


def _off_span(timeline: Timeline, cells: int, step_s: float) -> slice:
    """Longest run of cells with the unit off: by its power, else where its supply air is not cold."""
    unit = total_power(timeline, Role.UNIT_POWER, Role.UNIT_ENERGY)
    off = ~_blows_cold(timeline, cells) if unit is None else unit < UNIT_OFF_W
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(int), [0]])))
    first, last = max(edges.reshape(-1, 2).tolist(), key=lambda e: e[1] - e[0], default=(0, 0))
    if (last - first) * step_s < SHORTEST_RUN_S:
        raise _nothing(
            f"{(last - first) * step_s / HOUR_S:.1f} h with the unit off",
            f"{SHORTEST_RUN_S / HOUR_S:.0f} h or more",
            "Log the room with the unit off: heated and held for some hours, then left to cool.",
        )
    return slice(first, last)


def _blows_cold(timeline: Timeline, cells: int) -> NDArray[np.bool_]:
    """Where the supply air is colder than the air that enters by more than a unit that stands still makes it."""
    supply = mean_cells(timeline, Role.SUPPLY_TEMP)
    entering = mean_cells(timeline, Role.RETURN_TEMP if timeline.of(Role.RETURN_TEMP) else Role.ROOM_TEMP)
    if supply is None or entering is None:
        return np.zeros(cells, dtype=bool)
    return np.asarray(supply < entering - COLD_SUPPLY_K)


def _sensor_u(timeline: Timeline, series: tuple[Series, ...], start_s: float, end_s: float) -> float:
    return enter_temperature(Ledger(), "place", series, start_s, end_s).measured.u


def _surroundings(timeline: Timeline) -> dict[str, tuple[Series, ...]]:
    """Sensors by the name of the surface they lie behind."""
    outdoor = timeline.of(Role.OUTDOOR_TEMP) or timeline.of(Role.CONDENSER_INLET_TEMP)
    found = {"outdoor": outdoor} if outdoor else {}
    adjacent = timeline.of(Role.ADJACENT_TEMP)
    for place in dict.fromkeys(s.place for s in adjacent):
        found[place or "adjacent"] = tuple(s for s in adjacent if s.place == place)
    return found


def _heat(timeline: Timeline, session: Session, span: slice) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """All heat into the room, and one course for each independent error of it, shape (n,) each."""
    loads = timeline.of(*HEAT_ROLES) or timeline.of(*COUNTER_ROLES)
    factor = cell_factor(timeline)
    courses = [np.nan_to_num(fill_gaps(coarsened(timeline.cells[s.key], factor)))[span] for s in loads]
    unit = total_power(timeline, Role.UNIT_POWER, Role.UNIT_ENERGY)
    length = span.stop - span.start
    fixed = sum(load.power_w for load in session.fixed_loads)
    heat = np.full(length, fixed) + np.sum(courses, axis=0) + (0.0 if unit is None else unit[span])
    fixed_u = np.sqrt(sum((load.u95_w / 2.0) ** 2 for load in session.fixed_loads))
    return heat, (np.full(length, fixed_u), *(_power_error(s, c) for s, c in zip(loads, courses, strict=True)))


def _power_error(series: Series, course_w: FloatArray) -> FloatArray:
    """One meter's error at each cell: gain and offset limits as one rectangular error (JCGM 100, 4.3.7)."""
    meter = series.instrument
    if meter is None:
        return np.asarray(0.02 / np.sqrt(3.0) * course_w)  # a plug of unknown make: 2 %, common practice
    gain = meter.gain_correction_u if meter.gain_correction_u is not None else meter.gain_limit / np.sqrt(3.0)
    offset = meter.offset_limit / np.sqrt(3.0) if series.role in POWER_ROLES else 0.0
    return np.asarray(np.where(course_w > 0.0, gain * course_w + offset, 0.0))


def run_of(timeline: Timeline, session: Session) -> Run:
    """Take the run out of a session.

    Parameters
    ----------
    timeline
        All channels on one grid.
    session
        For the fixed loads.

    Returns
    -------
    Run
        The longest span with the unit off.

    Raises
    ------
    NothingToReduce
        Without a room temperature, a neighbour's temperature or two hours with the unit off.
    """
    role = Role.ROOM_TEMP if timeline.of(Role.ROOM_TEMP) else Role.RETURN_TEMP
    room = mean_cells(timeline, role)
    surroundings = _surroundings(timeline)
    if room is None or not surroundings:
        raise _nothing(
            "no temperature of the room" if room is None else "no temperature around the room",
            "both",
            "Give one channel the role room_temp and others outdoor_temp or adjacent_temp.",
        )
    step = timeline.step_s * cell_factor(timeline)
    span = _off_span(timeline, room.size, step)
    start, end = timeline.start_s + span.start * step, timeline.start_s + span.stop * step
    around = [mean_cells(timeline, s[0].role, place=s[0].place) for s in surroundings.values()]
    if any(cells is None for cells in around):
        raise _nothing("a temperature around the room that is never known", "readings", "Leave that channel out.")
    heat, heat_u = _heat(timeline, session, span)
    cycle = heater_cycle(timeline, start, end)
    smooth_s = float(np.clip(cycle.period_s, 120.0, HOUR_S)) if cycle else SMOOTH_S
    log = RoomLog(
        step_s=step,
        heat_w=heat,
        room_c=room[span],
        around_c=np.stack([cells[span] for cells in around if cells is not None]),
        smooth=max(1, round(smooth_s / step)),
        every=max(1, round(max(OBSERVED_EVERY_S, smooth_s) / step)),
    )
    around_u = tuple(_sensor_u(timeline, s, start, end) for s in surroundings.values())
    return Run(log, tuple(surroundings), _sensor_u(timeline, timeline.of(role), start, end), around_u, heat_u)
