"""A test before it is run: heat, circuits, time, expected U95, how near to freezing, what would help, with cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, permutations
from typing import Any

from reduction.balance.coil import dry_wet_bulb_c
from reduction.documents.stated import Condition
from reduction.documents.words import Compressor, HeaterKind, UnitKind
from reduction.errors import InvalidSession, Place
from reduction.ground.constants import CFM_M3_PER_S, SECONDS_PER_HOUR, TON_W
from reduction.ground.tables import table
from reduction.judge.claims import Claimed, claimed_figures
from reduction.judge.surfaces import maps_for
from reduction.planning.forecast import Run, forecast, mass_release_w, room_time_constant_s, time_to_steady_s
from reduction.planning.freezing import coil_forecast
from reduction.planning.heating import circuits_for, heat_to_install
from reduction.planning.improvements import improvements_of
from reduction.planning.plan_request import (
    BudgetLine,
    Caution,
    Freezing,
    Plan,
    PlanRequest,
    TargetPlan,
    WindowForecast,
)

RATED_FLOW_M3_PER_S_PER_W = 312.0 * CFM_M3_PER_S / TON_W  # 312 cfm/ton, NREL/TP-5500-57617 window unit at medium speed
TYPICAL_EER_POWER_SHARE = 1.0 / 3.2  # power over capacity where none is claimed: COP 3.2, common practice, no source
WINDOWS_S = (1800.0, 3600.0, 7200.0)
FLAMMABLE = ("R-32", "R32", "R-290", "R290", "R-454B", "R454B", "R-600A", "R600A", "R-1234YF", "R1234YF")
HOT_ROOM_C = 29.0
LONGEST_SOAK_S = 7 * 86_400.0  # a week: no test waits longer, and a forecast of it would fill the machine
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
    heat = heat_to_install(request, run, latent_w)
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
        time_constant_s=room_time_constant_s(request.room),
        time_to_steady_s=run.soak_s,
        mass_release_w=float(mass_release_w(request.room, step_k, run.soak_s)),
        **circuits_for(request, heat, run.power_w),
        **_uncertainty(request, run, improvements=improvements),
    )


def _uncertainty(request: PlanRequest, run: Run, *, improvements: bool) -> dict[str, Any]:
    """What the engine will say of the run, by length of window, and what would improve it."""
    windows, window_s = _windows(request, run)
    chosen = replace(run, window_s=window_s)
    found = forecast(chosen)
    return {
        "windows": windows,
        "window_s": window_s,
        "capacity_u95_w": found.capacity_u95_w,
        "eer_u95": found.eer_u95,
        "wanted_reached": None if request.wanted_u95_w is None else found.capacity_u95_w <= request.wanted_u95_w,
        "budget": tuple(BudgetLine(name=name, u_w=u, share=share) for name, u, share in found.budget),
        "improvements": improvements_of(chosen, found) if improvements else (),
    }


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
    return freezing, replace(run, soak_s=_soak_s(run)), latent_w


def _soak_s(run: Run) -> float:
    soak_s = time_to_steady_s(run)
    longest = max(soak_s, room_time_constant_s(run.room))
    if longest > LONGEST_SOAK_S:
        raise InvalidSession(
            place=Place("plan", column="room"),
            found=f"a room that takes {longest / SECONDS_PER_HOUR:,.0f} h to settle",
            expected=f"at most {LONGEST_SOAK_S / SECONDS_PER_HOUR:.0f} h",
            remedy="Check its volume, heat capacity and conductances.",
        )
    return soak_s


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
