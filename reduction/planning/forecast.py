"""The uncertainty engine run forward: a session as it would be logged, through the balance that will judge it.

The room starts at its temperature before the test, is brought to the target and held there by its heaters while walls
and furniture follow; the logs are those of perfect sensors with the limits of the planned ones, so what the engine
says of them is what it will say of the real run.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Series, align
from reduction.balance.heat_balance import OUTPUTS, heat_balance
from reduction.documents.stated import Instrument
from reduction.ground.constants import BTU_PER_H_PER_W, SECONDS_PER_HOUR
from reduction.planning.approach import STEP_S, Approach, air_store_j_per_k, approach, stores_of
from reduction.planning.plan_request import Equipment
from reduction.room.envelope import conductances, fast_store
from reduction.room.radiant import RADIANT_SHARE
from reduction.room.slow_mass import slow_mass_release
from reduction.room.slow_mass_evidence import OUTDOOR_SLOPE, ROOM_SLOPE
from reduction.room.slow_mass_model import RADIANT_TO_WALLS, prior_stores
from reduction.session import FixedLoad, LogFile, Role, Room, SampleKind, Session, Settings, UnitUnderTest
from reduction.uncertainty.propagation import Propagated, propagate
from reduction.windows.span import Span
from reduction.windows.steadiness import default_limits

FloatArray = NDArray[np.float64]

SAMPLE_S = 60.0
A_DAY_S = 86_400.0
LONGEST_SOAK_S = 7 * A_DAY_S  # a week: no test waits longer, and a forecast of it would fill the machine
BEFORE_S = 600.0  # logged before the start, at the old temperature
CONSTANT_SHARE = 0.70  # of the heat, on a plug of its own; 60–80 % is common practice, no source
SPARE_W = 300.0  # where the heaters are not known yet: half of an ordinary switched heater
LIKELY_SD = 1.28  # one room in ten is heavier than this, one lighter
SPLIT_K = 14.0  # between return and supply of an ordinary room unit; the engine only asks whether it stays the same
SCATTER = 0.003  # of the heat, of one block: repeatability of an ordinary run, common practice, no source
EQUILIBRIUM_S = 3600.0  # held before a record of 30 min: at least 1 h in ISO 5151 (from memory)
EPOCH_S = 1_800_000_000.0  # any instant: the balance knows no calendar


@dataclass(frozen=True)
class Run:
    """A planned run: temperatures [°C], steady capacity, unit power and metered heat [W], times [s]."""

    unit: UnitUnderTest
    room: Room
    equipment: Equipment
    room_temp_c: float
    start_temp_c: float
    outdoor_temp_c: float
    adjacent_temp_c: float
    capacity_w: float
    power_w: float
    other_loads_w: float
    soak_s: float
    window_s: float
    logged_from_s: float = -BEFORE_S  # counted from the start of this run
    runs_before: bool = False  # unit and heaters held the start temperature before, as between two targets
    outdoor_drift_k_per_h: float = 0.0
    constant_share: float = CONSTANT_SHARE
    spare_w: float = SPARE_W  # heat by which the switched heater, off or on, drives the room to its target


@dataclass(frozen=True)
class Forecast:
    """Expected U95 with the budget of the capacity: (name, u [W], share of the variance)."""

    capacity_u95_w: float
    eer_u95: float
    budget: tuple[tuple[str, float, float], ...]


def room_time_constant_s(room: Room) -> float:
    """Return the time constant [s] of the air and what follows it: C over all it leaks to, walls included.

    Examples
    --------
    >>> 600.0 < room_time_constant_s(Room(volume_m3=30.0)) < 7200.0
    True
    """
    stores = prior_stores(room)
    leaks = sum(surface.ua_w_per_k for surface in conductances(room))
    return fast_store(room).c_j_per_k / (leaks + stores.middle_w_per_k[0] + stores.slow_w_per_k[0])


def followed(run: Run, lasts_s: float, sd: float = 0.0) -> Approach:
    """Follow the room of a run from its start, its stores by so many standard deviations heavier than known."""
    by_itself = ROOM_SLOPE[0] * run.capacity_w
    return approach(run.room, run.start_temp_c, run.room_temp_c, run.spare_w, lasts_s, by_itself, sd)


def time_to_steady_s(run: Run, sd: float = 0.0) -> float:
    """Return the time [s] from the start until the room is steady by the limit of its slope, then EQUILIBRIUM_S held.

    `inf` where that takes longer than LONGEST_SOAK_S.
    """
    limit = default_limits()["room_temp_slope"].limit
    settled = (followed(run, longest, sd).steady_s(limit) for longest in (A_DAY_S, LONGEST_SOAK_S))
    return EQUILIBRIUM_S + next((time for time in settled if np.isfinite(time)), np.inf)


def steady_range_s(run: Run) -> tuple[float, float]:
    """Return the time to steady [s] in a room lighter and one heavier than known, by LIKELY_SD each."""
    lighter, heavier = (time_to_steady_s(run, sd) for sd in (-LIKELY_SD, LIKELY_SD))
    return lighter, min(heavier, LONGEST_SOAK_S)


@lru_cache(maxsize=128)  # a page that follows typing asks for the same run again and again
def forecast(run: Run) -> Forecast:
    """Return the U95 that the engine would state for a run, with the budget of the capacity."""
    session = _session(run)
    timeline = align(_series(run), session.settings)
    start = EPOCH_S + run.soak_s
    spans = [(start, start + run.window_s)]
    (slow,) = slow_mass_release(timeline, session, spans)
    balance = heat_balance(timeline, session, Span("planned", *spans[0]), slow)
    result = propagate(balance.ledger.inputs, balance.model)
    capacity, cop = (OUTPUTS.index(name) for name in ("capacity", "cop"))
    return Forecast(
        capacity_u95_w=result.interval_k(capacity) * result.u(capacity),
        eer_u95=result.expanded(cop) * BTU_PER_H_PER_W,
        budget=_causes(result),
    )


def _causes(result: Propagated) -> tuple[tuple[str, float, float], ...]:
    """The budget summed by cause, largest first."""
    summed: dict[str, float] = {}
    for item, contribution in zip(result.inputs, result.contributions[0], strict=True):
        cause = _cause(item.name)
        summed[cause] = summed.get(cause, 0.0) + float(contribution) ** 2
    total = sum(summed.values()) or 1.0
    lines = [(name, variance**0.5, variance / total) for name, variance in summed.items() if variance > 0.0]
    return tuple(sorted(lines, key=lambda line: -line[1]))


def _cause(name: str) -> str:
    for start, cause in (("gain of", "meters"), ("offset of", "meters"), ("UA to", "envelope conductance")):
        if name.startswith(start):
            return cause
    for part, cause in (
        (": reading", "meters"),
        (": sensor", "thermometers"),
        (": place", "placement of thermometers"),
    ):
        if part in name:
            return cause
    return name.split(":")[0]


def _session(run: Run) -> Session:
    return Session(
        name="planned run",
        synthetic=True,
        unit=run.unit,
        room=run.room,
        files=(LogFile(path="planned"),),
        fixed_loads=(FixedLoad(what="fan and loggers", power_w=run.other_loads_w, u95_w=0.05 * run.other_loads_w),),
        heater_kind=run.equipment.heater_kind,
        settings=Settings(grid_s=SAMPLE_S, monte_carlo_draws=0),
    )


@dataclass(frozen=True)
class _Course:
    """What the planned logs follow: times [s], temperatures [°C], the unit's capacity over the steady one."""

    time_s: FloatArray
    off: NDArray[np.bool_]
    room_c: FloatArray
    around_c: dict[str, FloatArray]
    unit: FloatArray
    mass_w: FloatArray


def _course(run: Run) -> _Course:
    time = np.arange(run.logged_from_s, run.soak_s + run.window_s + SAMPLE_S, SAMPLE_S)
    way = followed(run, run.soak_s + run.window_s + 2.0 * SAMPLE_S)
    steps = STEP_S * np.arange(way.room_temp_c.size)
    room = np.interp(time, steps, way.room_temp_c)
    drift_k = run.outdoor_drift_k_per_h * (time - run.soak_s - run.window_s / 2.0) / SECONDS_PER_HOUR
    adjacent = np.full_like(time, run.adjacent_temp_c)
    return _Course(
        time_s=time,
        off=(time < 0.0) & (not run.runs_before),
        room_c=room,
        around_c={s.to: adjacent for s in conductances(run.room)} | {"outdoor": run.outdoor_temp_c + drift_k},
        unit=1.0 + OUTDOOR_SLOPE[0] * drift_k + ROOM_SLOPE[0] * (room - run.room_temp_c),
        mass_w=np.interp(time, steps, way.mass_w, left=0.0) - _warming_w(run, time),
    )


def _warming_w(run: Run, time_s: FloatArray) -> FloatArray:
    """Radiant heat that walls still keep, from the start of the heaters on. [W]"""
    stores, share = prior_stores(run.room), float(np.mean(RADIANT_SHARE[run.equipment.heater_kind]))
    warmed_k = RADIANT_TO_WALLS * share * max(run.capacity_w - run.other_loads_w, 0.0) / stores.film_w_per_k
    conductance, tau = (each[1:] for each in stores_of(run.room))  # the first follows the air, not the walls
    return np.where(time_s < 0.0, 0.0, warmed_k * np.exp(-np.maximum(time_s, 0.0)[:, None] / tau) @ conductance)


def _heat_w(run: Run, course: _Course) -> FloatArray:
    """Heat of both heaters that closes the balance, with the scatter of an ordinary run."""
    room = course.room_c
    gains = sum(surface.ua_w_per_k * (course.around_c[surface.to] - room) for surface in conductances(run.room))
    stored = -air_store_j_per_k(run.room) * np.gradient(room, course.time_s)
    scatter = np.repeat(np.random.default_rng(1).normal(size=room.size // 15 + 1), 15)[: room.size]
    heat = run.capacity_w * (course.unit + SCATTER * scatter) - gains - stored - course.mass_w - run.other_loads_w
    return np.where(course.off, 0.0, np.maximum(heat, 0.0))


def _series(run: Run) -> tuple[Series, ...]:
    """The logs of a perfect run: temperatures, heaters that hold the room, the unit's plug."""
    course, use = _course(run), run.equipment
    heat = _heat_w(run, course)
    constant = np.minimum(run.constant_share * float(np.median(heat[~course.off])), heat)
    air_side = [
        ("return", Role.RETURN_TEMP, course.room_c),
        ("supply", Role.SUPPLY_TEMP, course.room_c - SPLIT_K * course.unit),
    ]
    thermometers = [
        *((f"room {n + 1}", Role.ROOM_TEMP, course.room_c) for n in range(use.room_sensors)),
        *air_side[: 2 * use.logs_supply_and_return],
        *(
            (to, Role.OUTDOOR_TEMP if to == "outdoor" else Role.ADJACENT_TEMP, course.around_c[to])
            for to in sorted(course.around_c)
        ),
    ]
    unit = np.where(course.off, 0.0, run.power_w)
    logs = [
        ("constant heater", Role.HEATER_CONSTANT_POWER, constant, use.heater_meter, 0.0),
        ("switched heater", Role.HEATER_CONSTANT_POWER, heat - constant, use.heater_meter, 0.0),
        ("unit", Role.UNIT_POWER, unit, use.unit_meter, 0.0),
        *((*each, use.thermometer, use.placement_u_c) for each in thermometers),
    ]
    return tuple(_log(course.time_s, *each) for each in logs)


def _log(
    time: FloatArray, name: str, role: Role, values: FloatArray, instrument: Instrument, placement_u: float
) -> Series:
    """One log, by an instrument of its own: two of a kind err independently."""
    return Series(
        key=f"planned|{name}",
        file="planned",
        column=name,
        role=role,
        place=name,
        kind=SampleKind.INSTANT,
        time_s=time + EPOCH_S,
        values=np.asarray(values, dtype=np.float64),
        instrument=instrument.model_copy(update={"id": f"{instrument.id}: {name}"}),
        placement_u=placement_u,
        stale_after_s=900.0,
    )
