"""Seasonal figures of a portable by the US procedure: adjusted capacity and CEER from its machine and its ducts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from statistics import fmean

from reduction.ground.constants import (
    BTU_PER_H_PER_W,
    CFM_M3_PER_S,
    FOOT_M,
    POUND_KG,
    SECONDS_PER_HOUR,
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
)
from reduction.judge.claims import named_condition
from reduction.judge.duct_facts import NAMES, area_of, ducts_of, flow_of, surface_of
from reduction.judge.ducted import dry_air_kg_per_s
from reduction.judge.rated_point import RatedPoint
from reduction.judge.rating import rating_correction
from reduction.season.ceer import (
    COOLING_H,
    INDOOR_F,
    PORTABLE_INACTIVE_H,
    PORTABLE_OFF_CYCLE_H,
    PORTABLE_WEIGHTS,
    duct_heat_btu_per_h,
    portable_ceer,
    portable_infiltration,
    sacc_btu_per_h,
)
from reduction.session import (
    Compressor,
    DuctedPoint,
    Measured,
    RatingCorrection,
    SeasonFigure,
    SeasonInput,
    UnitKind,
)

OFF_CYCLE_BOUNDS_W = (1.0, 60.0)  # at the set point with the fan stopped or running, common practice, no source
TOLD_APART_K = 2.0  # between intake and room air: below it a surface between them says nothing of the duct
SECONDS_PER_MINUTE = 60.0
CONDITIONS = {
    UnitKind.SINGLE_DUCT_PORTABLE: {95: "us_portable_single_duct", 83: "us_portable_single_duct"},
    UnitKind.DUAL_DUCT_PORTABLE: {95: "us_portable_dual_duct_95f", 83: "us_portable_dual_duct_83f"},
}
SOURCE = "10 CFR 430 Subpart B Appendix CC (2016), from memory"
Errors = dict[str, float]


@dataclass(frozen=True)
class Ducted:
    """A point as both sides need it: the machine for a correction, the ducts for what they cost."""

    machine: RatedPoint
    ducts: DuctedPoint


@dataclass(frozen=True)
class Adjusted:
    """One test of the procedure: the machine's figures there, duct heat, infiltration, and errors of what was stated.

    Heat with the u it has by itself; `errors` are signed standard contributions to the adjusted capacity, by name. [W]
    """

    test: RatingCorrection
    duct: Measured
    infiltration: Measured
    errors: Errors

    @property
    def capacity_w(self) -> float:
        """Capacity less what the ducts and the drawn-in air cost. [W]"""
        return self.test.capacity_w - self.duct.value - self.infiltration.value


def with_ducts(rated: RatedPoint | None, ducts: DuctedPoint | None) -> Ducted | None:
    """Return both sides of a point whose net effect is `rated`; None without ducts or where all is lost in its error.

    What the point shares with others stays as many watts, so it is a smaller share of the machine's capacity.
    """
    if rated is None or ducts is None or ducts.capacity_w <= 2.0 * ducts.capacity_u_w:
        return None
    net, power = rated.common.get("capacity", {}), rated.common.get("power", {})
    capacity = {key: part * rated.capacity.value / ducts.capacity_w for key, part in net.items()}
    eer = {key: capacity.get(key, 0.0) - power.get(key, 0.0) for key in capacity.keys() | power.keys()}
    machine = replace(
        rated,
        capacity=Measured(value=ducts.capacity_w, u=ducts.capacity_u_w),
        outdoor_temp_c=Measured(value=ducts.inlet_temp_c, u=ducts.inlet_temp_u_c),
        common={"capacity": capacity, "power": power, "eer": eer if rated.common.get("eer") else {}},
    )
    return Ducted(machine, ducts)


def portable_figures(
    points: Sequence[Ducted], kind: UnitKind, standby: SeasonInput, compressor: Compressor = Compressor.UNKNOWN
) -> tuple[SeasonFigure, ...]:
    """Return SACC [W] and CEER [Btu/(W·h)] of a portable; none without a point at full speed whose ducts are stated.

    A variable-speed unit is rated from tests at several speeds, which are not known here: none either.

    References
    ----------
    10 CFR 430 Subpart B Appendix CC (2016), 4.1, 5.1 to 5.4, from memory; constants in `season.ceer`.
    """
    full = [point for point in points if point.machine.limit.verdict == "at full speed"]
    if kind not in CONDITIONS or not full or compressor is Compressor.VARIABLE_SPEED:
        return ()
    tests = {outdoor_f: _adjusted(full, kind, outdoor_f) for outdoor_f in PORTABLE_WEIGHTS}
    known = {outdoor_f: test for outdoor_f, test in tests.items() if test is not None}
    if len(known) < len(tests):
        return ()
    inputs = _inputs(full, known, kind)
    return (_sacc(known, inputs, full), _ceer(known, (*inputs, _off_cycle(full), standby), full))


def _adjusted(points: Sequence[Ducted], kind: UnitKind, outdoor_f: int) -> Adjusted | None:
    """Bring the machine to one test and charge it with what its ducts cost there, on the mean of its points."""
    test = rating_correction([point.machine for point in points], named_condition(CONDITIONS[kind][outdoor_f]))
    if test is None:
        return None
    costs = [_costs(point.ducts, kind, test, outdoor_f) for point in points]
    errors: Errors = {}
    for point, cost in zip(points, costs, strict=True):
        added, moved = point.ducts.added_w, test.capacity_w / point.ducts.capacity_w
        for name in added.keys() | cost.duct_errors.keys() | cost.air_errors.keys():
            charged = cost.duct_errors.get(name, 0.0) + cost.air_errors.get(name, 0.0)
            errors[name] = errors.get(name, 0.0) + (moved * added.get(name, 0.0) - charged) / len(points)
    duct = Measured(value=fmean(c.duct_w for c in costs), u=fmean(hypot(*c.duct_errors.values()) for c in costs))
    air = Measured(value=fmean(c.air_w for c in costs), u=fmean(hypot(*c.air_errors.values()) for c in costs))
    return Adjusted(test, duct, air, errors)


@dataclass(frozen=True)
class _Costs:
    """What the ducts of one point cost at a test, with what each stated figure's u makes of it. [W]"""

    duct_w: float
    duct_errors: Errors
    air_w: float
    air_errors: Errors


def _costs(point: DuctedPoint, kind: UnitKind, test: RatingCorrection, outdoor_f: int) -> _Costs:
    inlet_c = celsius_from_fahrenheit(INDOOR_F if kind is UnitKind.SINGLE_DUCT_PORTABLE else float(outdoor_f))
    rejects = (test.capacity_w + test.power_w) / (point.capacity_w + point.power_w)
    exhaust_c = inlet_c + rejects * (point.exhaust_temp_c - point.inlet_temp_c)
    duct_w, of_ducts = 0.0, {}
    for which, surface in _surfaces(point, kind, {"exhaust": exhaust_c, "intake": inlet_c}).items():
        area = area_of(point.stated, which)
        heat = _duct_w(area.value, surface.value)
        duct_w += heat
        of_ducts[NAMES[f"{which}_area"]] = _duct_w(area.u, surface.value)
        of_ducts[NAMES[f"{which}_surface"]] = _duct_w(area.value, surface.value + surface.u) - heat
    flows = dry_air_kg_per_s(point.stated, kind, exhaust_c, inlet_c, point.room_ratio, point.pressure_pa)
    per_kg = _infiltration_w(1.0, outdoor_f)
    of_air = {name: per_kg * flow.u for name, flow in flows.items()}
    return _Costs(duct_w, of_ducts, per_kg * sum(flow.value for flow in flows.values()), of_air)


def _surfaces(point: DuctedPoint, kind: UnitKind, air_c: dict[str, float]) -> dict[str, Measured]:
    """Return each duct's surface at a test: as far between the room's air and the duct's as it was. [°C]"""
    indoor_c = celsius_from_fahrenheit(INDOOR_F)
    was_c = {"exhaust": point.exhaust_temp_c, "intake": point.inlet_temp_c}
    found = {}
    for which in ducts_of(kind):
        surface, apart = surface_of(point.stated, which), was_c[which] - point.room_temp_c
        if abs(apart) < TOLD_APART_K:
            share, u = 0.5, 1.0 / sqrt(12.0)
        else:
            share, u = (surface.value - point.room_temp_c) / apart, surface.u / apart
        above = air_c[which] - indoor_c
        found[which] = Measured(value=indoor_c + share * above, u=abs(u * above))
    return found


def _duct_w(area_m2: float, surface_temp_c: float) -> float:
    heat = duct_heat_btu_per_h(area_m2 / FOOT_M**2, fahrenheit_from_celsius(surface_temp_c))
    return heat / BTU_PER_H_PER_W


def _infiltration_w(dry_kg_per_s: float, outdoor_f: int) -> float:
    """Return what dry air drawn in costs at a test; the procedure's own function, given a flow of one lb/ft³."""
    lb_per_min = dry_kg_per_s / POUND_KG * SECONDS_PER_MINUTE
    return portable_infiltration(lb_per_min, 1.0, 0.0, outdoor_f).total_btu_per_h / BTU_PER_H_PER_W


def _sacc(tests: dict[int, Adjusted], inputs: tuple[SeasonInput, ...], points: Sequence[Ducted]) -> SeasonFigure:
    value = sacc_btu_per_h(tests[95].capacity_w, tests[83].capacity_w)  # linear: W in, W out
    machine_u = sum(weight * tests[f].test.capacity_u95_w / 2.0 for f, weight in PORTABLE_WEIGHTS.items())
    u = hypot(machine_u, *_weighted(tests, lambda outdoor_f: 1.0))
    btu = f"{value * BTU_PER_H_PER_W:,.0f} Btu/h"
    return SeasonFigure(
        name="SACC", value=value, u95=2.0 * u, quantity_unit="W", inputs=inputs,
        because=f"{SOURCE}: {btu}, the machine's capacity at 80 °F and 67 °F wet bulb less duct heat and drawn-in air, "
        f"a fifth at 95 °F and four fifths at 83 °F outdoors. {_from(points, tests)}",
    )  # fmt: skip


def _ceer(tests: dict[int, Adjusted], inputs: tuple[SeasonInput, ...], points: Sequence[Ducted]) -> SeasonFigure:
    off_cycle, standby = inputs[-2:]
    power = {f: test.test.power_w for f, test in tests.items()}

    def ceer(adjusted_w: dict[int, float], power_w: dict[int, float], off_cycle_w: float, standby_w: float) -> float:
        heat = {f: watts * BTU_PER_H_PER_W for f, watts in adjusted_w.items()}
        return portable_ceer(heat, power_w, off_cycle_w, standby_w)

    adjusted = {f: test.capacity_w for f, test in tests.items()}
    value = ceer(adjusted, power, off_cycle.value, standby.value)
    stronger = {f: test.capacity_w + test.test.capacity_u95_w / 2.0 for f, test in tests.items()}
    hungrier = {f: test.test.power_w + test.test.power_u95_w / 2.0 for f, test in tests.items()}
    moved = [
        ceer(stronger, power, off_cycle.value, standby.value) - value,
        ceer(adjusted, hungrier, off_cycle.value, standby.value) - value,
        ceer(adjusted, power, off_cycle.value + off_cycle.u, standby.value) - value,
        ceer(adjusted, power, off_cycle.value, standby.value + standby.u) - value,
    ]
    idle_w = (off_cycle.value * PORTABLE_OFF_CYCLE_H + standby.value * PORTABLE_INACTIVE_H) / COOLING_H
    per_w = _weighted(tests, lambda outdoor_f: BTU_PER_H_PER_W / (power[outdoor_f] + idle_w))
    return SeasonFigure(
        name="CEER", value=value, u95=2.0 * hypot(*moved, *per_w), quantity_unit="Btu/(W·h)", inputs=inputs,
        because=f"{SOURCE}: adjusted capacity over the power of {COOLING_H:.0f} h of cooling, "
        f"{PORTABLE_OFF_CYCLE_H:.0f} h at the set point and {PORTABLE_INACTIVE_H:.0f} h of waiting. "
        f"{_from(points, tests)}",
    )  # fmt: skip


def _weighted(tests: dict[int, Adjusted], factor: Callable[[int], float]) -> list[float]:
    """Return by named error what it makes of a sum over the tests with the procedure's weights."""
    names = sorted({name for test in tests.values() for name in test.errors})
    return [
        sum(weight * factor(f) * tests[f].errors.get(name, 0.0) for f, weight in PORTABLE_WEIGHTS.items())
        for name in names
    ]


def _from(points: Sequence[Ducted], tests: dict[int, Adjusted]) -> str:
    many = f"{len(points)} windows" if len(points) > 1 else "One window"
    brought = " ".join(dict.fromkeys(test.test.how for test in tests.values()))
    return f"{many} at full speed: {brought}"


def _inputs(points: Sequence[Ducted], tests: dict[int, Adjusted], kind: UnitKind) -> tuple[SeasonInput, ...]:
    """Return what was measured and stated, and what it comes to at each outdoor temperature."""
    found = [row for f, each in tests.items() for row in _machine(points, each.test, kind, f)]
    for which in ducts_of(kind):
        flow = max((flow_of(point.ducts.stated, which) for point in points), key=lambda each: each.u)
        hourly = SECONDS_PER_HOUR
        because = f"as the tester states it, {flow.value / CFM_M3_PER_S:.0f} cfm"
        found.append(_input(f"{which} air flow", hourly * flow.value, hourly * flow.u, "m³/h", because))
    for f, each in tests.items():
        of_air = "dry air of exhaust less intake, at the state the procedure gives outdoor and room air"
        of_duct = "3 Btu/(h·ft²·°F), surfaces as far between room and duct air as in the test"
        found += [
            _input(f"drawn-in air at {f} °F", each.infiltration.value, each.infiltration.u, "W", of_air),
            _input(f"duct heat at {f} °F", each.duct.value, each.duct.u, "W", of_duct),
        ]
    return tuple(found)


def _machine(points: Sequence[Ducted], test: RatingCorrection, kind: UnitKind, outdoor_f: int) -> list[SeasonInput]:
    """Return the machine's figures at a test; with one duct both outdoor temperatures have the same."""
    if kind is UnitKind.SINGLE_DUCT_PORTABLE and outdoor_f != min(PORTABLE_WEIGHTS):
        return []
    at = f" at {outdoor_f} °F" if kind is UnitKind.DUAL_DUCT_PORTABLE else ""
    several = f"{len(points)} net effects with duct heat and drawn-in air put back"
    because = several if len(points) > 1 else points[0].ducts.because
    return [
        _input(f"machine's capacity{at}", test.capacity_w, test.capacity_u95_w / 2.0, "W", because),
        _input(f"machine's power{at}", test.power_w, test.power_u95_w / 2.0, "W", "logged, and brought there likewise"),
    ]


def _off_cycle(points: Sequence[Ducted]) -> SeasonInput:
    for point in points:
        stated = point.ducts.stated
        if stated.off_cycle_power_w is not None:
            u95 = stated.off_cycle_power_u95_w
            u = 0.05 * stated.off_cycle_power_w if u95 is None else u95 / 2.0
            return _input("power at the set point", stated.off_cycle_power_w, u, "W", "as the tester states it")
    low, high = OFF_CYCLE_BOUNDS_W
    because = f"not measured: {low:g} to {high:g} W, with the fan stopped or running"
    middle, u = (low + high) / 2.0, (high - low) / sqrt(12.0)
    return _input("power at the set point", middle, u, "W", because, measured=False)


def _input(
    name: str, value: float, u: float, quantity_unit: str, because: str, *, measured: bool = True
) -> SeasonInput:
    return SeasonInput(name=name, value=value, u=u, quantity_unit=quantity_unit, measured=measured, because=because)
