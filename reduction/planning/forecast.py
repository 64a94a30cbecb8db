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
from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.planning.plan_request import Equipment
from reduction.room.envelope import conductances, fast_store
from reduction.room.slow_mass import slow_mass_release
from reduction.room.slow_mass_model import prior_stores
from reduction.session import FixedLoad, LogFile, Role, Room, SampleKind, Session, Settings, UnitUnderTest
from reduction.uncertainty.propagation import Propagated, propagate
from reduction.windows.span import Span
from reduction.windows.steadiness import default_limits

FloatArray = NDArray[np.float64]

SAMPLE_S = 60.0
WARM_UP_S = 1200.0  # in which a room without much mass in its air reaches its target
BEFORE_S = 600.0  # logged before the start, at the old temperature
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


@dataclass(frozen=True)
class Forecast:
    """Expected U95 with the budget of the capacity: (name, u [W], share of the variance)."""

    capacity_u95_w: float
    eer_u95: float
    budget: tuple[tuple[str, float, float], ...]


def mass_release_w(room: Room, step_k: float, after_s: FloatArray | float) -> FloatArray:
    """Return the heat [W] that walls and furniture still give a room some time after it was made cooler by a step [K].

    Positive for a room made cooler; each store relaxes with its own time constant, G ΔT exp(−t/τ).

    References
    ----------
    Exponential relaxation of a lumped store, any text on heat transfer; stores as the slow-mass term's prior has them.
    """
    time = np.asarray(after_s, dtype=np.float64)[..., None]
    stores = prior_stores(room)
    middle = stores.middle_w_per_k[0] * np.exp(-time / stores.middle_taus_s) @ _normal(stores.middle_weight)
    slow = stores.slow_w_per_k[0] * np.exp(-time / stores.slow_taus_s) @ _normal(stores.slow_weight)
    return np.asarray(step_k * (middle + slow))


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


def settling_s(step_k: float, slope_k_per_h: float, time_constant_s: float) -> float:
    """Return the time [s] after a step [K] until an exponential approach is no steeper than a slope [K/h].

    ΔT/τ exp(−t/τ) = slope.

    Examples
    --------
    >>> round(settling_s(3.0, 0.3, 3600.0) / 3600.0, 3) == round(float(np.log(10.0)), 3)
    True
    """
    steepest = abs(step_k) / time_constant_s * 3600.0
    return time_constant_s * float(np.log(steepest / slope_k_per_h)) if steepest > slope_k_per_h else 0.0


def time_to_steady_s(run: Run) -> float:
    """Return the time [s] from the start until the room is steady by the limit of its slope, at least EQUILIBRIUM_S."""
    limit = default_limits()["room_temp_slope"].limit
    step = run.start_temp_c - run.room_temp_c
    return EQUILIBRIUM_S + settling_s(step, limit, room_time_constant_s(run.room))


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
    time = np.arange(-BEFORE_S, run.soak_s + run.window_s + SAMPLE_S, SAMPLE_S)
    since = np.maximum(time, 0.0)
    approach = np.where(time < 0.0, 1.0, np.exp(-3.0 * since / WARM_UP_S))
    room = run.room_temp_c + (run.start_temp_c - run.room_temp_c) * approach
    outside = {"outdoor": run.outdoor_temp_c, "adjacent": run.adjacent_temp_c}
    gains = sum(
        surface.ua_w_per_k * (outside.get(surface.to, run.adjacent_temp_c) - room) for surface in conductances(run.room)
    )
    stored = -fast_store(run.room).c_j_per_k * np.gradient(room, time)
    mass = np.where(time < 0.0, 0.0, mass_release_w(run.room, run.start_temp_c - run.room_temp_c, since))
    scatter = np.repeat(np.random.default_rng(1).normal(size=len(time) // 15 + 1), 15)[: len(time)]
    heat = run.capacity_w * (1.0 + SCATTER * scatter) - gains - stored - mass - run.other_loads_w
    heat = np.where(time < 0.0, 0.0, np.maximum(heat, 0.0))
    meter, thermometer = run.equipment.heater_meter, run.equipment.thermometer
    series = [
        _log("heaters", Role.HEATER_CONSTANT_POWER, time, heat, meter, 0.0),
        _log("unit", Role.UNIT_POWER, time, np.where(time < 0.0, 0.0, run.power_w), run.equipment.unit_meter, 0.0),
    ]
    places = [(f"room {n + 1}", Role.ROOM_TEMP, room) for n in range(run.equipment.room_sensors)]
    if run.equipment.logs_supply_and_return:
        places += [("return", Role.RETURN_TEMP, room), ("supply", Role.SUPPLY_TEMP, room - SPLIT_K)]
    places.append(("outdoor", Role.OUTDOOR_TEMP, np.full_like(time, run.outdoor_temp_c)))
    names = {surface.to for surface in conductances(run.room)} - {"outdoor"}
    places += [(name, Role.ADJACENT_TEMP, np.full_like(time, run.adjacent_temp_c)) for name in sorted(names)]
    for name, role, values in places:
        own = thermometer.model_copy(update={"id": f"{thermometer.id}: {name}"})
        series.append(_log(name, role, time, values, own, run.equipment.placement_u_c))
    return tuple(series)


def _log(
    name: str, role: Role, time: FloatArray, values: FloatArray, instrument: Instrument, placement_u: float
) -> Series:
    return Series(
        key=f"planned|{name}",
        file="planned",
        column=name,
        role=role,
        place=name,
        kind=SampleKind.INSTANT,
        time_s=time + EPOCH_S,
        values=np.asarray(values, dtype=np.float64),
        instrument=instrument,
        placement_u=placement_u,
        stale_after_s=900.0,
    )


def _normal(weight: FloatArray) -> FloatArray:
    return np.asarray(weight / weight.sum())
