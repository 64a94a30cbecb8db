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
from reduction.planning.approach import STEP_S, Approach, air_store_j_per_k, approach
from reduction.planning.plan_request import Equipment
from reduction.room.envelope import conductances, fast_store
from reduction.room.slow_mass import slow_mass_release
from reduction.room.slow_mass_evidence import OUTDOOR_SLOPE, ROOM_SLOPE
from reduction.room.slow_mass_model import prior_stores
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
        capacity_u95_w=result.expanded(capacity),
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


def _series(run: Run) -> tuple[Series, ...]:
    """The logs of a perfect run: temperatures, heaters that hold the room, the unit's plug."""
    time = np.arange(run.logged_from_s, run.soak_s + run.window_s + SAMPLE_S, SAMPLE_S)
    off = (time < 0.0) & (not run.runs_before)
    course = followed(run, run.soak_s + run.window_s + 2.0 * SAMPLE_S)
    room = np.interp(time, STEP_S * np.arange(course.room_temp_c.size), course.room_temp_c)
    middle_s = run.soak_s + run.window_s / 2.0
    drift_k = run.outdoor_drift_k_per_h * (time - middle_s) / SECONDS_PER_HOUR
    outdoor = run.outdoor_temp_c + drift_k
    adjacent = np.full_like(time, run.adjacent_temp_c)
    around = {surface.to: adjacent for surface in conductances(run.room)} | {"outdoor": outdoor}
    gains = sum(surface.ua_w_per_k * (around[surface.to] - room) for surface in conductances(run.room))
    stored = -air_store_j_per_k(run.room) * np.gradient(room, time)
    mass = np.interp(time, STEP_S * np.arange(course.mass_w.size), course.mass_w, left=0.0)
    scatter = np.repeat(np.random.default_rng(1).normal(size=len(time) // 15 + 1), 15)[: len(time)]
    change = 1.0 + OUTDOOR_SLOPE[0] * drift_k + ROOM_SLOPE[0] * (room - run.room_temp_c)
    heat = run.capacity_w * (change + SCATTER * scatter) - gains - stored - mass - run.other_loads_w
    heat = np.where(off, 0.0, np.maximum(heat, 0.0))
    constant = np.minimum(np.where(off, 0.0, run.constant_share * float(np.median(heat[~off]))), heat)
    heater_meter, unit_meter = run.equipment.heater_meter, run.equipment.unit_meter
    names = sorted(around.keys() - {"outdoor"})
    thermometers = [
        *((f"room {n + 1}", Role.ROOM_TEMP, room) for n in range(run.equipment.room_sensors)),
        *(
            (("return", Role.RETURN_TEMP, room), ("supply", Role.SUPPLY_TEMP, room - SPLIT_K * change))
            * run.equipment.logs_supply_and_return
        ),
        ("outdoor", Role.OUTDOOR_TEMP, outdoor),
        *((name, Role.ADJACENT_TEMP, around[name]) for name in names),
    ]
    return (
        _log("constant heater", Role.HEATER_CONSTANT_POWER, time, constant, heater_meter, 0.0),
        _log("switched heater", Role.HEATER_CONSTANT_POWER, time, heat - constant, heater_meter, 0.0),
        _log("unit", Role.UNIT_POWER, time, np.where(off, 0.0, run.power_w), unit_meter, 0.0),
        *(
            _log(name, role, time, values, run.equipment.thermometer, run.equipment.placement_u_c)
            for name, role, values in thermometers
        ),
    )


def _log(
    name: str, role: Role, time: FloatArray, values: FloatArray, instrument: Instrument, placement_u: float
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
