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
from reduction.planning.forecast import (
    LONGEST_SOAK_S,
    Run,
    followed,
    forecast,
    room_time_constant_s,
    steady_range_s,
    time_to_steady_s,
)
from reduction.planning.freezing import coil_forecast
from reduction.planning.heating import Heat, circuits_for, heat_to_install
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
    start = _start_c(request, None)
    plans: list[TargetPlan] = []
    for target in _fewest_hours(targets, start):
        plans.append(_plan_target(request, claimed, target, plans[-1] if plans else None, improvements=improvements))
    return Plan(
        targets=tuple(plans),
        hours=sum(_lasts_s(plan) for plan in plans) / SECONDS_PER_HOUR,
        cautions=cautions(request, plans),
        assumptions=_assumptions(request, claimed),
    )


def _lasts_s(plan: TargetPlan) -> float:
    return plan.time_to_steady_s + plan.window_s


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
    request: PlanRequest, claimed: Claimed, target: Condition, before: TargetPlan | None, *, improvements: bool
) -> TargetPlan:
    freezing, run, latent_w = _run(request, claimed, target, before)
    heat = heat_to_install(request, run, latent_w)
    run = _soaked(replace(run, spare_w=_spare_w(run, heat), constant_share=_constant_share(heat)))
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
        time_to_steady_range_s=steady_range_s(run),
        mass_release_w=float(followed(run, run.soak_s).mass_w[-1]),
        **circuits_for(request, heat, run.power_w),
        **_uncertainty(request, run, improvements=improvements),
    )


def _spare_w(run: Run, heat: Heat) -> float:
    """What the switched heater, off in a room that is too warm and on in one too cool, drives it by."""
    return heat.switched_w * (heat.duty if run.start_temp_c > run.room_temp_c else 1.0 - heat.duty)


def _constant_share(heat: Heat) -> float:
    expected = heat.constant_w + heat.duty * heat.switched_w
    return heat.constant_w / expected if expected else 1.0


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
    request: PlanRequest, claimed: Claimed, target: Condition, before: TargetPlan | None
) -> tuple[Freezing, Run, float]:
    """Return the forecast of the coil, the run it leads to, and the latent part of its capacity [W]."""
    full_w, power_w = expected_at(request, claimed, target)
    claimed_flow = (claimed.air_flow_m3_per_h or 0.0) / SECONDS_PER_HOUR
    flow = claimed_flow or (claimed.capacity_w or 0.0) * RATED_FLOW_M3_PER_S_PER_W
    throttles = request.unit.compressor is not Compressor.FIXED_SPEED
    freezing, capacity_w, latent_w = coil_forecast(
        target, full_w, flow, request.unit.bypass_factor, throttles=throttles
    )
    room_c = target.room_temp_c or 0.0
    adjacent_c = room_c if request.adjacent_temp_c is None else request.adjacent_temp_c
    start_c = _start_c(request, before)
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
        outdoor_drift_k_per_h=request.outdoor_drift_k_per_h,
    )
    return freezing, run if before is None else _going_on(run, before), latent_w


def _going_on(run: Run, before: TargetPlan) -> Run:
    """Between two targets unit and heaters go on, and so does the log."""
    return replace(run, runs_before=True, logged_from_s=-_lasts_s(before))


def _start_c(request: PlanRequest, before: TargetPlan | None) -> float | None:
    if before is not None:
        return before.condition.room_temp_c
    return request.adjacent_temp_c if request.start_room_temp_c is None else request.start_room_temp_c


def _soaked(run: Run) -> Run:
    soak_s = time_to_steady_s(run)
    if max(soak_s, room_time_constant_s(run.room)) > LONGEST_SOAK_S:
        longest_h = LONGEST_SOAK_S / SECONDS_PER_HOUR
        raise InvalidSession(
            place=Place("plan", column="room"),
            found=f"a room that takes more than {longest_h:.0f} h to settle",
            expected=f"at most {longest_h:.0f} h",
            remedy="Check its volume, heat capacity and conductances, and whether the heaters leave any to spare.",
        )
    return replace(run, soak_s=soak_s)


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
