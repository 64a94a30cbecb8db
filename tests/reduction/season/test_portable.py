"""A portable's SACC and CEER from its points: by hand, by the generator's own physics, and where something lacks."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.judge.rated_point import RatedPoint
from reduction.season.duct_costs import Ducted, with_ducts
from reduction.season.portable import portable_figures
from reduction.season.unit_season import standby_input
from reduction.session import Compressor, DuctedPoint, Ducts, Limit, Measured, SeasonFigure, UnitKind

ONE, TWO = UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE
STANDBY = standby_input(Measured(value=1.0, u=0.1))
AT_80_F, AT_95_F, AT_83_F = 26.6667, 35.0, 28.3333
# 424.8 m³/h is 250 cfm; 0.5740 m² is 6.1785 ft²; 43.33 °C is 110 °F: the inputs of C29 and C30.
STATED: dict[str, Any] = {
    "exhaust_flow_m3_per_h": 424.7527, "exhaust_flow_u95_m3_per_h": 0.0, "exhaust_area_m2": 0.574001,
    "exhaust_area_u95_m2": 0.0, "exhaust_surface_temp_c": 43.3333, "exhaust_surface_u95_c": 0.0,
    "off_cycle_power_w": 20.0, "off_cycle_power_u95_w": 0.0,
}  # fmt: skip
INTAKE: dict[str, Any] = {
    "intake_flow_m3_per_h": 380.0, "intake_flow_u95_m3_per_h": 0.0, "intake_area_m2": 0.5, "intake_area_u95_m2": 0.0,
    "intake_surface_temp_c": 31.0, "intake_surface_u95_c": 0.0,
}  # fmt: skip


def _m(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u)


def a_point(
    kind: UnitKind = ONE, *, inlet_c: float = AT_80_F, capacity_w: float = 3000.0, u: float = 0.0, **stated: Any
) -> Ducted:
    """Return a point at the procedure's own condition, so that maps have nothing to move."""
    rated = RatedPoint(
        kind=kind, capacity=_m(2500.0, 20.0), power=_m(1000.0), room_temp_c=_m(AT_80_F), room_wet_bulb_c=_m(19.4444),
        outdoor_temp_c=_m(inlet_c), limit=Limit(verdict="at full speed", because=""),
    )  # fmt: skip
    ducts = DuctedPoint(
        capacity_w=capacity_w, capacity_u_w=u, added_w={}, duct_heat_w=100.0, drawn_in_w=300.0, latent_w=0.0,
        power_w=1000.0, inlet_temp_c=inlet_c, inlet_temp_u_c=0.0, exhaust_temp_c=inlet_c + 27.0, room_temp_c=AT_80_F,
        room_ratio=0.011, pressure_pa=101325.0, stated=Ducts(**STATED | (INTAKE if kind is TWO else {}) | stated),
        because="as tested",
    )  # fmt: skip
    both = with_ducts(rated, ducts)
    assert both is not None
    return both


def figures(*points: Ducted, kind: UnitKind = ONE, **more: Any) -> dict[str, SeasonFigure]:
    return {figure.name: figure for figure in portable_figures(points, kind, STANDBY, **more)}


def test_a_single_duct_worked_by_hand() -> None:
    """By hand, in the procedure's own units, from the formulas of Appendix CC (2016) (from memory).

    250 cfm of air at 128.6 °F, 0.011 lb/lb: 0.06625 lb/ft³ of dry air (ideal gas, 14.696 psi), so 16.56 lb/min dry.
    95 °F: 60 × 16.56 × (0.24 × 15 + 0.444 × (0.0141 × 95 − 0.0112 × 80)) = 3,773 sensible, 60 × 16.56 × 1061 ×
    0.0029 = 3,058 latent; 83 °F: 718 and −359. Duct: 3 × 6.1785 × 30 = 556. Capacity 3000 W = 10,236 Btu/h.
    ACC 2,849 and 9,321, SACC 0.2 × 2,849 + 0.8 × 9,321 = 8,027 Btu/h.
    Energy: (1000 × 750 + 20 × 880 + 1 × 1355)/750 = 1,025.3 W, so CEER 8,027/1,025.3 = 7.83.
    """
    found = figures(a_point())
    assert found["SACC"].value * BTU_PER_H_PER_W == pytest.approx(8027.0, abs=4.0)  # four digits in hand
    assert found["SACC"].quantity_unit == "W"
    assert found["CEER"].value == pytest.approx(7.83, abs=0.01)
    air = {each.name: each.value * BTU_PER_H_PER_W for each in found["SACC"].inputs if "air at" in each.name}
    assert air == pytest.approx({"drawn-in air at 95 °F": 6831.0, "drawn-in air at 83 °F": 359.0}, rel=0.002)


def test_two_ducts_worked_by_hand() -> None:
    """By hand (ideal gas): at 95 °F the exhaust is at 62 °C, 0.9664 m³/kg, the intake at 35 °C, 0.8884 m³/kg.

    Dry air 424.75/3600/0.9664 − 380/3600/0.8884 = 0.1221 − 0.1188 = 0.0033 kg/s = 0.434 lb/min; that is 60 × 0.434 ×
    (3.797 + 1061 × 0.0029) = 179 Btu/h. Ducts: exhaust 3 × 6.1785 × (43.33 − 26.67)/(62 − 26.67) of 63.6 K·9/5
    — 3 × 6.1785 × 30 = 556, intake 3 × 5.382 × (31 − 26.67) × 1.8 = 126 Btu/h; together 682 Btu/h.
    """
    found = figures(a_point(TWO, inlet_c=AT_95_F), kind=TWO)
    told = {each.name: each.value for each in found["SACC"].inputs}
    assert {"machine's capacity at 95 °F", "machine's capacity at 83 °F", "intake air flow"} <= told.keys()
    assert told["drawn-in air at 95 °F"] * BTU_PER_H_PER_W == pytest.approx(179.0, rel=0.04)  # a small difference
    assert told["duct heat at 95 °F"] * BTU_PER_H_PER_W == pytest.approx(682.0, rel=0.005)
    assert found["SACC"].value < min(told["machine's capacity at 95 °F"], told["machine's capacity at 83 °F"])


def test_what_is_stated_less_surely_makes_the_figure_less_sure() -> None:
    sure = figures(a_point())["SACC"]
    for name, value in (
        ("exhaust_flow_u95_m3_per_h", 60.0), ("exhaust_area_u95_m2", 0.2), ("exhaust_surface_u95_c", 8.0),
    ):  # fmt: skip
        assert figures(a_point(**{name: value}))["SACC"].u95 > sure.u95
        assert figures(a_point(**{name: value}))["CEER"].u95 > figures(a_point())["CEER"].u95


def test_the_flows_share_of_u_is_that_of_the_air_it_draws_in() -> None:
    """A tenth of the flow is a tenth of the drawn-in heat: 0.2 × 6,831 + 0.8 × 359 = 1,653 Btu/h, so 165."""
    sure, unsure = (figures(a_point(exhaust_flow_u95_m3_per_h=u95))["SACC"] for u95 in (0.0, 42.475))
    assert (unsure.u95**2 - sure.u95**2) ** 0.5 * BTU_PER_H_PER_W == pytest.approx(165.3, rel=0.002)


@settings(max_examples=25)
@given(flow=st.floats(100.0, 800.0), area=st.floats(0.1, 2.0), more=st.floats(1.01, 1.5))
def test_more_exhaust_and_more_duct_never_make_a_portable_better(flow: float, area: float, more: float) -> None:
    base = figures(a_point(exhaust_flow_m3_per_h=flow, exhaust_area_m2=area))
    for worse in ({"exhaust_flow_m3_per_h": more * flow}, {"exhaust_area_m2": more * area}):
        changed = figures(a_point(**{"exhaust_flow_m3_per_h": flow, "exhaust_area_m2": area} | worse))
        assert all(changed[name].value < base[name].value for name in ("SACC", "CEER"))


def test_an_idle_power_that_was_not_stated_is_bounded_and_lowers_only_the_ceer() -> None:
    stated, bounded = figures(a_point()), figures(a_point(off_cycle_power_w=None, off_cycle_power_u95_w=None))
    idle = next(each for each in bounded["CEER"].inputs if each.name == "power at the set point")
    assert not idle.measured
    assert bounded["SACC"].value == stated["SACC"].value
    assert bounded["CEER"].u95 > stated["CEER"].u95


def test_a_portable_that_was_not_at_full_speed_or_varies_its_speed_gets_no_figure() -> None:
    point = a_point()
    slowed = Ducted(
        machine=RatedPoint(**vars(point.machine) | {"limit": Limit(verdict="reduced speed", because="")}),
        ducts=point.ducts,
    )
    assert figures(slowed) == {}
    assert figures(point, compressor=Compressor.VARIABLE_SPEED) == {}
    assert figures() == {}


def test_two_windows_with_the_same_ducts_do_not_average_the_ducts_error_away() -> None:
    flow = {"exhaust_flow_u95_m3_per_h": 80.0}
    one, two = figures(a_point(**flow))["SACC"], figures(a_point(**flow), a_point(**flow))["SACC"]
    assert two.u95 == pytest.approx(one.u95, rel=1e-6)


def test_a_machine_lost_in_its_own_error_is_left_out() -> None:
    point = a_point()
    assert with_ducts(point.machine, point.ducts.model_copy(update={"capacity_u_w": 1600.0})) is None
    assert with_ducts(None, point.ducts) is None
