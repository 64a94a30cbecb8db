"""What a portable's ducts cost at the tests of its procedure, with what each stated figure's error makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from statistics import fmean

from reduction.ground.constants import (
    BTU_PER_H_PER_W,
    FOOT_M,
    POUND_KG,
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
)
from reduction.judge.claims import named_condition
from reduction.judge.duct_facts import NAMES, area_of, ducts_of, surface_of
from reduction.judge.ducted import dry_air_kg_per_s
from reduction.judge.rated_point import RatedPoint
from reduction.judge.rating import rating_correction
from reduction.season.ceer import INDOOR_F, duct_heat_btu_per_h, portable_infiltration
from reduction.session import DuctedPoint, Measured, RatingCorrection, UnitKind

TOLD_APART_K = 2.0  # between intake and room air: below it a surface between them says nothing of the duct
SECONDS_PER_MINUTE = 60.0
CONDITIONS = {
    UnitKind.SINGLE_DUCT_PORTABLE: {95: "us_portable_single_duct", 83: "us_portable_single_duct"},
    UnitKind.DUAL_DUCT_PORTABLE: {95: "us_portable_dual_duct_95f", 83: "us_portable_dual_duct_83f"},
}
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


def adjusted(points: Sequence[Ducted], kind: UnitKind, outdoor_f: int) -> Adjusted | None:
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
