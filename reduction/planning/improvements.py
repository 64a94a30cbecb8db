"""What would make a planned run better known: each change by itself through the same engine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from reduction.documents.room import Room, SlowMass, Surface
from reduction.documents.words import HeaterKind
from reduction.ground.constants import SECONDS_PER_HOUR
from reduction.planning.forecast import Forecast, Run, forecast
from reduction.planning.plan_request import Improvement
from reduction.room.envelope import conductances, fast_store
from reduction.room.slow_mass_model import prior_stores, wall_capacity_j_per_k

# U95 after a characterisation: medians of `python -m tests.coverage.study --rooms 200`, rooms of 22 to 45 m³.
OUTDOOR_U95_W_PER_K, NEIGHBOUR_U95_W_PER_K, TOGETHER_U95_W_PER_K = 10.5, 15.7, 9.0
FAST_STORE_U95_J_PER_K = 560e3
SLOW_STORE = 0.4  # of its conductance and capacity: what such runs say of it, common practice, no source
LEAST_CORRELATION = -0.95  # so that errors told together stay possible
WORTH_SAYING = 0.005  # of U95: what buys less is lost in its own rounding


def improvements_of(run: Run, now: Forecast) -> tuple[Improvement, ...]:
    """Return what each change would buy by itself, best first; what buys next to nothing is left out."""
    found = [(what, forecast(changed).capacity_u95_w) for what, changed in _changes(run)]
    lines = [
        Improvement(what=what, capacity_u95_w=u95, saves_w=now.capacity_u95_w - u95)
        for what, u95 in found
        if u95 < (1.0 - WORTH_SAYING) * now.capacity_u95_w
    ]
    return tuple(sorted(lines, key=lambda line: line.capacity_u95_w))


def _changes(run: Run) -> Iterator[tuple[str, Run]]:
    equipment = run.equipment
    yield "Soak four hours longer", replace(run, soak_s=run.soak_s + 4 * SECONDS_PER_HOUR)
    yield (
        "Characterise the room: a night held warm with the unit off, then some hours without heat",
        replace(run, room=_characterised(run.room)),
    )
    more = equipment.model_copy(update={"room_sensors": equipment.room_sensors + 1})
    yield "One more thermometer in the room", replace(run, equipment=more)
    calibrated = equipment.thermometer.model_copy(update={"offset_correction_u": 0.05})
    together = equipment.model_copy(update={"thermometer": calibrated})
    yield "Calibrate the thermometers side by side", replace(run, equipment=together)
    better = {
        name: getattr(equipment, name).model_copy(update={"gain_limit": 0.005})
        for name in ("heater_meter", "unit_meter")
    }
    yield "Power meters good for 0.5 %", replace(run, equipment=equipment.model_copy(update=better))
    if not equipment.logs_supply_and_return:
        air = equipment.model_copy(update={"logs_supply_and_return": True})
        yield "Log supply and return air", replace(run, equipment=air)
    if equipment.heater_kind is not HeaterKind.FAN_FORCED:
        fan = equipment.model_copy(update={"heater_kind": HeaterKind.FAN_FORCED})
        yield "Fan-forced heaters", replace(run, equipment=fan)


def _characterised(room: Room) -> Room:
    """The room as an ordinary characterisation would leave it: the sum of its surfaces told far better than each."""
    known = conductances(room)
    told = [OUTDOOR_U95_W_PER_K if surface.to == "outdoor" else NEIGHBOUR_U95_W_PER_K for surface in known]
    apart = [min(2.0 * surface.u_w_per_k, u95) for surface, u95 in zip(known, told, strict=True)]
    store = fast_store(room)
    return room.model_copy(
        update={
            "surfaces": tuple(
                Surface(to=s.to, ua_w_per_k=s.ua_w_per_k, u95_w_per_k=u95, correlation=(_told_together(apart),) * n)
                for n, (s, u95) in enumerate(zip(known, apart, strict=True))
            ),
            "c_eff_j_per_k": store.c_j_per_k,
            "c_eff_u95_j_per_k": min(2.0 * store.u_j_per_k, FAST_STORE_U95_J_PER_K),
            "slow_mass": room.slow_mass or _banded_mass(room),
            "found_by": "as planned",
        }
    )


def _told_together(u95: Sequence[float]) -> float:
    """The correlation, alike between all surfaces, by which their sum is known as well as runs tell it."""
    squares, total = sum(each**2 for each in u95), sum(u95) ** 2
    if len(u95) < 2 or total == squares:
        return 0.0
    needed = (TOGETHER_U95_W_PER_K**2 - squares) / (total - squares)
    return min(0.0, max(needed, LEAST_CORRELATION / (len(u95) - 1)))


def _banded_mass(room: Room) -> SlowMass:
    """The slow mass that the bands by volume and construction are centred on, as a characterisation states it."""
    stores, capacity = prior_stores(room), wall_capacity_j_per_k(room)
    conductance = stores.middle_w_per_k[0] + stores.slow_w_per_k[0]
    return SlowMass(
        conductance_w_per_k=conductance,
        conductance_u95_w_per_k=SLOW_STORE * conductance,
        capacity_j_per_k=capacity,
        capacity_u95_j_per_k=SLOW_STORE * capacity,
    )
