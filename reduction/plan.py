"""A test before it is run: heat, circuits, time, expected U95, how near to freezing, what would help, with cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, permutations

from reduction.circuits import CircuitLoad, CircuitUse, assign, heaters_needed
from reduction.claims import Claimed, claimed_figures
from reduction.coil import dry_wet_bulb_c
from reduction.constants import CFM_M3_PER_S, LATENT_HEAT_J_PER_KG, SECONDS_PER_HOUR, TON_W
from reduction.envelope import conductances
from reduction.errors import InvalidSession, Place
from reduction.forecast import Run, forecast, mass_release_w, room_time_constant_s, time_to_steady_s
from reduction.freezing import coil_forecast
from reduction.improvements import improvements_of
from reduction.plan_request import (
    BudgetLine,
    Caution,
    Freezing,
    Plan,
    PlanRequest,
    TargetPlan,
    WindowForecast,
)
from reduction.sizing import people_heat_w
from reduction.stated import Condition
from reduction.surfaces import maps_for
from reduction.tables import table
from reduction.words import Compressor, HeaterKind, UnitKind

MARGIN = 1.15  # for a unit better than claimed, common practice, no source
CONSTANT_SHARE = 0.70  # of the expected heat; 60–80 % is common practice, no source
LEAST_CONSTANT_SHARE = 0.60
SWITCHED_OVER_REST = 1.5  # of what is left to a switched heater, so that its duty stays within 30–70 %; as above
RATED_FLOW_M3_PER_S_PER_W = 312.0 * CFM_M3_PER_S / TON_W  # 312 cfm/ton, NREL/TP-5500-57617 window unit at medium speed
TYPICAL_EER_POWER_SHARE = 1.0 / 3.2  # power over capacity where none is claimed: COP 3.2, common practice, no source
WINDOWS_S = (1800.0, 3600.0, 7200.0)
FLAMMABLE = ("R-32", "R32", "R-290", "R290", "R-454B", "R454B", "R-600A", "R600A", "R-1234YF", "R1234YF")
HOT_ROOM_C = 29.0
PORTABLE = (UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE)


def plan_test(request: PlanRequest, *, improvements: bool = True) -> Plan:
    """Plan a test: every target in the order that takes the fewest hours.

    Parameters
    ----------
    request
        Unit with at least a claimed capacity, room, targets, circuits, equipment.
    improvements
        Whether to run the engine again for what each improvement would buy; a page that follows typing leaves it out.

    Raises
    ------
    InvalidSession
        If no capacity is claimed, or a target names no room or outdoor temperature.

    References
    ----------
    Heater shares, margin, 80 % continuous practice: sources beside the constants and in `data/circuit_rules.csv`.
    """
    claimed = claimed_figures(request.unit)
    if claimed.capacity_w is None:
        raise InvalidSession(
            place=Place("plan", column="unit.claims"),
            found="no claimed capacity",
            expected="a capacity in W or Btu/h",
            remedy="Add the capacity from the nameplate: the heaters are sized by it.",
        )
    targets = [_complete(target, claimed) for target in request.targets or (claimed.condition,)]
    start = request.start_room_temp_c
    if start is None:
        start = request.adjacent_temp_c
    plans, hours = [], 0.0
    for target in _fewest_hours(targets, start):
        plan = _plan_target(request, claimed, target, start, improvements=improvements)
        plans.append(plan)
        hours += (plan.time_to_steady_s + plan.window_s) / SECONDS_PER_HOUR
        start = target.room_temp_c
    return Plan(
        targets=tuple(plans), hours=hours, cautions=cautions(request, plans), assumptions=_assumptions(request, claimed)
    )


def cautions(request: PlanRequest, plans: Sequence[TargetPlan]) -> tuple[Caution, ...]:
    """Return the cautions that apply, in the order of the steps they belong to."""
    rooms = [plan.condition.room_temp_c or 0.0 for plan in plans]
    applies = {
        "always": True,
        "radiant": request.equipment.heater_kind in (HeaterKind.RADIANT, HeaterKind.UNKNOWN),
        "window": request.unit.kind is UnitKind.WINDOW,
        "portable": request.unit.kind in PORTABLE,
        "flammable": request.unit.refrigerant.upper().replace(" ", "") in FLAMMABLE or not request.unit.refrigerant,
        "humid": any(plan.water_kg_per_h > 0.0 for plan in plans),
        "hot": max(rooms, default=0.0) >= HOT_ROOM_C,
    }
    return tuple(
        Caution(step=row["step"], caution=row["caution"], source=row["source"])
        for row in table("cautions")
        if applies[row["applies"]]
    )


def _complete(target: Condition, claimed: Claimed) -> Condition:
    if target.room_temp_c is None or target.outdoor_temp_c is None:
        raise InvalidSession(
            place=Place("plan", column="targets"),
            found=target.name or "a target without temperatures",
            expected="a room and an outdoor temperature in °C",
            remedy="Give both for each target.",
        )
    return target


def _fewest_hours(targets: list[Condition], start_c: float | None) -> tuple[Condition, ...]:
    """Order with the least change of room temperature in all: soaking is what takes the hours."""

    def travelled(order: tuple[Condition, ...]) -> float:
        rooms = ([] if start_c is None else [start_c]) + [each.room_temp_c or 0.0 for each in order]
        return sum(abs(b - a) for a, b in pairwise(rooms))

    return min(permutations(targets), key=travelled)


def _plan_target(
    request: PlanRequest, claimed: Claimed, target: Condition, start_c: float | None, *, improvements: bool
) -> TargetPlan:
    freezing, run, latent_w = _run(request, claimed, target, start_c)
    heat = _heat(request, run, latent_w)
    uses, needed, refused = _circuits(request, heat, run.power_w)
    windows, window_s = _windows(request, run)
    chosen = replace(run, window_s=window_s)
    found = forecast(chosen)
    step_k = run.start_temp_c - run.room_temp_c
    return TargetPlan(
        condition=target,
        capacity_w=run.capacity_w,
        power_w=run.power_w,
        envelope_gain_w=heat.gain_w,
        heat_w=heat.constant_w + heat.switched_w,
        constant_w=heat.constant_w,
        switched_w=heat.switched_w,
        switched_duty=heat.duty,
        water_kg_per_h=heat.water_kg_per_h,
        freezing=freezing,
        circuits=uses,
        circuits_needed=needed,
        fits_circuits=not refused,
        circuits_because=refused or "Every load hangs on a circuit of its own within its limit.",
        time_constant_s=room_time_constant_s(request.room),
        time_to_steady_s=run.soak_s,
        mass_release_w=float(mass_release_w(request.room, step_k, run.soak_s)),
        windows=windows,
        window_s=window_s,
        capacity_u95_w=found.capacity_u95_w,
        eer_u95=found.eer_u95,
        wanted_reached=None if request.wanted_u95_w is None else found.capacity_u95_w <= request.wanted_u95_w,
        budget=tuple(BudgetLine(name=name, u_w=u, share=share) for name, u, share in found.budget),
        improvements=improvements_of(chosen, found) if improvements else (),
    )


def _run(
    request: PlanRequest, claimed: Claimed, target: Condition, start_c: float | None
) -> tuple[Freezing, Run, float]:
    """Return the forecast of the coil, the run it leads to with its soak, and the latent part of its capacity [W]."""
    full_w, power_w = expected_at(request, claimed, target)
    claimed_flow = (claimed.air_flow_m3_per_h or 0.0) / SECONDS_PER_HOUR
    flow = claimed_flow or (claimed.capacity_w or 0.0) * RATED_FLOW_M3_PER_S_PER_W
    throttles = request.unit.compressor is not Compressor.FIXED_SPEED
    freezing, capacity_w, latent_w = coil_forecast(
        target, full_w, flow, request.unit.bypass_factor, throttles=throttles
    )
    room_c = target.room_temp_c or 0.0
    adjacent_c = room_c if request.adjacent_temp_c is None else request.adjacent_temp_c
    run = Run(
        unit=request.unit,
        room=request.room,
        equipment=request.equipment,
        room_temp_c=room_c,
        start_temp_c=adjacent_c if start_c is None else start_c,
        outdoor_temp_c=target.outdoor_temp_c or 0.0,
        adjacent_temp_c=adjacent_c,
        capacity_w=capacity_w,
        power_w=power_w * capacity_w / full_w,
        other_loads_w=request.other_loads_w,
        soak_s=0.0,
        window_s=request.window_s,
    )
    return freezing, replace(run, soak_s=time_to_steady_s(run)), latent_w


@dataclass(frozen=True)
class _Heat:
    gain_w: float
    constant_w: float
    switched_w: float
    duty: float
    water_kg_per_h: float


def _heat(request: PlanRequest, run: Run, latent_w: float) -> _Heat:
    """Share the heat between a constant and a switched heater, less what comes by itself."""
    outside = {"outdoor": run.outdoor_temp_c}
    gain = sum(
        surface.ua_w_per_k * (outside.get(surface.to, run.adjacent_temp_c) - run.room_temp_c)
        for surface in conductances(request.room)
    )
    sensible, latent = people_heat_w(request.people)
    expected = max(0.0, run.capacity_w - gain - request.other_loads_w - sensible - latent)
    constant = _whole_heaters(CONSTANT_SHARE * expected, LEAST_CONSTANT_SHARE * expected, request)
    switched = max(SWITCHED_OVER_REST * (expected - constant), MARGIN * expected - constant)
    water = max(0.0, latent_w - latent) / LATENT_HEAT_J_PER_KG * SECONDS_PER_HOUR
    return _Heat(gain, constant, switched, (expected - constant) / switched if switched else 0.0, water)


def expected_at(request: PlanRequest, claimed: Claimed, target: Condition) -> tuple[float, float]:
    """Return capacity and power [W] that full speed would give at a target, the mean of the published maps.

    A target without a wet bulb is a dry room: the maps are entered where a typical coil just stops condensing.
    """
    rated, capacity = claimed.condition, claimed.capacity_w or 0.0
    room, outdoor = target.room_temp_c or 0.0, target.outdoor_temp_c or 0.0
    dry = dry_wet_bulb_c(room, 8.0)
    wet_bulb = dry if target.room_wet_bulb_c is None else max(dry, target.room_wet_bulb_c)
    at_rating = (rated.room_wet_bulb_c or 19.4444, rated.outdoor_temp_c or 35.0)
    maps = maps_for(request.unit.kind)
    by_capacity = [m.relative_capacity(wet_bulb, outdoor) / m.relative_capacity(*at_rating) for m in maps]
    by_power = [m.relative_power(wet_bulb, outdoor) / m.relative_power(*at_rating) for m in maps]
    power = claimed.power_w or TYPICAL_EER_POWER_SHARE * capacity
    return capacity * sum(by_capacity) / len(maps), power * sum(by_power) / len(maps)


def _whole_heaters(wanted_w: float, least_w: float, request: PlanRequest) -> float:
    """Constant heat cut to what whole circuits carry, where that still is enough: one circuit less."""
    limit = min(circuit.limit_w for circuit in request.circuits)
    cut = wanted_w // limit * limit
    return cut if cut >= max(least_w, limit) else wanted_w


def _circuits(request: PlanRequest, heat: _Heat, power_w: float) -> tuple[tuple[CircuitUse, ...], int, str]:
    """Hang heaters and unit on the circuits there are; a sentence says why they do not fit, empty where they do."""
    smallest = min(request.circuits, key=lambda each: each.limit_w)
    largest = max(request.circuits, key=lambda each: each.limit_w)
    unit = CircuitLoad(name="air conditioner", power_w=max(power_w, 1.0))
    for biggest in (largest, smallest):
        heaters = [
            CircuitLoad(name=f"{name} heater {n + 1}", power_w=watts / count)
            for name, watts in (("constant", heat.constant_w), ("switched", heat.switched_w))
            for count in [heaters_needed(watts, biggest)]
            for n in range(count)
        ]
        uses, left = assign([unit, *heaters], request.circuits)
        if not left:
            break
    needed = len(heaters) + 1
    refused = (
        f"Refused: {heat.constant_w + heat.switched_w:.0f} W of heat and a unit of {power_w:.0f} W need {needed} "
        f"circuits of {smallest.rating_a:g} A, each with one load of at most {smallest.limit_w:,.0f} W "
        f"(80 %); {len(request.circuits)} given, the largest for {largest.limit_w:,.0f} W."
    )
    return uses, needed, refused if left else ""


def _windows(request: PlanRequest, run: Run) -> tuple[tuple[WindowForecast, ...], float]:
    """Forecast for several lengths, and the shortest that reaches the wanted U95, else the one asked for."""
    lengths = sorted({*WINDOWS_S, request.window_s})
    found = [(length, forecast(replace(run, window_s=length))) for length in lengths]
    windows = tuple(
        WindowForecast(window_s=length, capacity_u95_w=each.capacity_u95_w, eer_u95=each.eer_u95)
        for length, each in found
    )
    if request.wanted_u95_w is None:
        return windows, request.window_s
    enough = [each.window_s for each in windows if each.capacity_u95_w <= request.wanted_u95_w]
    return windows, min(enough, default=request.window_s)


def _assumptions(request: PlanRequest, claimed: Claimed) -> tuple[str, ...]:
    said = []
    if claimed.condition_assumed:
        said.append("The claim names no condition: the usual one of its kind is taken.")
    if claimed.power_w is None:
        said.append("No power or efficiency is claimed: a COP of 3.2 is taken.")
    if claimed.air_flow_m3_per_h is None:
        said.append("No air flow is claimed: 312 ft³/min a ton is taken, as of a tested window unit.")
    if not request.room.surfaces:
        said.append("The room is not characterised: bands by volume and construction are taken.")
    if request.adjacent_temp_c is None:
        said.append("The rooms around are taken as warm as the room itself.")
    return tuple(said)
