"""A portable's machine told from its ducts: balanced by hand, by what is missing, by what cannot be."""

from __future__ import annotations

from typing import Any

import pytest

from reduction.balance.coil import CoilTemp
from reduction.balance.water import WaterRate
from reduction.judge.duct_facts import ducts_findings, ducts_missing
from reduction.judge.ducted import ducted_point, exhaust_check
from reduction.session import Compressor, DuctedPoint, Ducts, Limit, Measured, Point, UnitKind, UnitUnderTest
from tests.builders import a_result_point

ONE, TWO = UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE
DRY = CoilTemp(9.0, 12.0)
STATED: dict[str, Any] = {
    "exhaust_flow_m3_per_h": 400.0, "exhaust_flow_u95_m3_per_h": 24.0, "exhaust_area_m2": 0.56,
    "exhaust_area_u95_m2": 0.02, "exhaust_surface_temp_c": 42.0, "exhaust_surface_u95_c": 2.0,
}  # fmt: skip
INTAKE: dict[str, Any] = {"intake_flow_m3_per_h": 350.0, "intake_area_m2": 0.5, "intake_surface_temp_c": 31.0}


def _m(value: float, u: float = 0.1) -> Measured:
    return Measured(value=value, u=u)


CONDITIONS = {
    "room_temp_c": _m(27.0), "room_wet_bulb_c": _m(13.0), "condenser_inlet_temp_c": _m(27.0),
    "condenser_outlet_temp_c": _m(52.0), "makeup_air_temp_c": _m(33.0), "supply_temp_c": _m(13.0),
}  # fmt: skip


def a_unit(kind: UnitKind = ONE, **more: Any) -> UnitUnderTest:
    ducts = Ducts(**STATED | (INTAKE if kind is TWO else {}) | more.pop("ducts", {}))
    return UnitUnderTest(model="Wheeler", kind=kind, ducts=ducts, **more)


def a_window(**fields: Any) -> Point:
    full = Limit(verdict="at full speed", because="")
    return a_result_point(**{
        "conditions": CONDITIONS, "sensible_w": 1500.0, "sensible_u95_w": 60.0, "capacity_w": 1500.0,
        "power_w": 820.0, "limit": full,
    } | fields)  # fmt: skip


def told(unit: UnitUnderTest, point: Point, **more: Any) -> DuctedPoint | None:
    return ducted_point(point, unit, **{"coil": DRY, "condensed": None, "pressure_pa": 101325.0} | more)


def test_the_machine_is_the_net_effect_with_its_ducts_put_back() -> None:
    """By hand: film (7.69 + 17.03)/2 = 12.36 W/(m²·K), 12.36 × 0.56 × 15 = 103.8 W of duct heat; 400 m³/h at 52 °C are
    0.1199 kg/s of dry air, times 1.0127 kJ/(kg·K) and 6 K 728 W; the room's dew point lies far below a 9 °C coil."""
    found = told(a_unit(), a_window())
    assert found is not None
    assert found.duct_heat_w == pytest.approx(103.8, abs=0.2)
    assert found.drawn_in_w == pytest.approx(728.0, rel=0.005)
    assert found.latent_w == 0.0
    assert found.capacity_w == pytest.approx(1500.0 + 103.8 + 728.0, abs=4.0)
    assert found.added_w["exhaust air flow"] == pytest.approx(0.03 * 728.0, rel=0.005)
    assert found.added_w["film at the ducts"] == pytest.approx(2.70 * 0.56 * 15.0, rel=0.005)


def test_air_drawn_in_at_the_rooms_temperature_costs_nothing() -> None:
    mild = told(a_unit(), a_window(conditions=CONDITIONS | {"makeup_air_temp_c": _m(27.0)}))
    assert mild is not None
    assert mild.drawn_in_w == 0.0


def test_a_weighed_bucket_is_the_latent_part_and_a_wet_coil_without_one_an_interval() -> None:
    humid = a_window(conditions=CONDITIONS | {"room_wet_bulb_c": _m(20.0)})
    weighed = told(a_unit(), humid, condensed=WaterRate(2e-4, 2e-6, "bucket"))
    unweighed = told(a_unit(), humid)
    assert weighed is not None
    assert unweighed is not None
    assert weighed.latent_w == pytest.approx(492.0)  # 2460 kJ/kg × 0.2 g/s, K1 of ISO 5151 (from memory)
    assert unweighed.latent_w > 0.0
    assert unweighed.capacity_u_w > weighed.capacity_u_w


def test_where_the_drawn_in_air_was_not_logged_it_is_between_outdoors_and_next_door() -> None:
    between = {name: value for name, value in CONDITIONS.items() if name != "makeup_air_temp_c"}
    between |= {"outdoor_temp_c": _m(36.0), "adjacent_temp_c": _m(28.0)}
    unsure, sure = told(a_unit(), a_window(conditions=between)), told(a_unit(), a_window())
    assert unsure is not None
    assert sure is not None
    assert unsure.drawn_in_w == pytest.approx(sure.drawn_in_w * 5.0 / 6.0, rel=1e-6)
    assert unsure.capacity_u_w > 2.0 * sure.capacity_u_w


@pytest.mark.parametrize(
    ("lacking", "named"),
    [
        ({"ducts": {"exhaust_flow_m3_per_h": None}}, "the exhaust duct's air flow"),
        ({"ducts": {"exhaust_area_m2": None}}, "the exhaust duct's outer surface"),
        ({"ducts": {"exhaust_surface_temp_c": None}}, "the exhaust duct's surface temperature"),
    ],
)
def test_what_is_not_stated_is_named(lacking: dict[str, Any], named: str) -> None:
    unit = a_unit(**lacking)
    assert ducts_missing(unit, CONDITIONS) == (named,)
    assert told(unit, a_window()) is None
    (finding,) = ducts_findings(unit, (a_window(),))
    assert finding.sentence == f"No seasonally adjusted capacity (SACC) yet: its procedure also asks for {named}."


@pytest.mark.parametrize("gone", ["condenser_outlet_temp_c", "makeup_air_temp_c"])
def test_what_is_not_logged_is_named(gone: str) -> None:
    conditions = {name: value for name, value in CONDITIONS.items() if name != gone}
    assert len(ducts_missing(a_unit(), conditions)) == 1
    assert "a channel for" in ducts_missing(a_unit(), conditions)[0]


@pytest.mark.parametrize(("surface_c", "refused"), [(42.0, False), (53.0, False), (62.0, True), (15.0, True)])
def test_a_surface_hotter_than_the_air_in_its_duct_is_not_believed(surface_c: float, refused: bool) -> None:
    unit = a_unit(ducts={"exhaust_surface_temp_c": surface_c})
    assert (told(unit, a_window()) is None) is refused
    assert any("between the room's and its air's" in lack for lack in ducts_missing(unit, CONDITIONS)) is refused


def test_a_second_duct_has_to_be_stated_too() -> None:
    one_only = UnitUnderTest(model="Twin", kind=TWO, ducts=Ducts(**STATED))
    assert len(ducts_missing(one_only, CONDITIONS)) == 3
    both = told(a_unit(TWO), a_window(conditions=CONDITIONS | {"condenser_inlet_temp_c": _m(35.0)}))
    alone = told(a_unit(), a_window())
    assert both is not None
    assert alone is not None
    assert both.drawn_in_w < 0.2 * alone.drawn_in_w


def test_a_window_unit_has_no_ducts_and_is_asked_for_none() -> None:
    unit = UnitUnderTest(model="Sash", kind=UnitKind.WINDOW)
    assert told(unit, a_window()) is None
    assert ducts_findings(unit, (a_window(),)) == ()


def test_a_variable_speed_portable_is_told_why_it_gets_no_figure() -> None:
    (finding,) = ducts_findings(a_unit(compressor=Compressor.VARIABLE_SPEED), (a_window(),))
    assert "several speeds" in finding.sentence


def test_a_stated_flow_that_cannot_carry_the_rejected_heat_fails_its_check() -> None:
    """Rejected: 2,332 W + 820 W − 52 W; 0.1199 kg/s × 1.0127 × 25 K carry 3,036 W, half the flow half of it."""
    (check,) = exhaust_check(told(a_unit(), a_window()), ONE)
    assert check.value == pytest.approx(3036.0 / 3100.0, abs=0.01)
    assert check.passed
    short = a_unit(ducts={"exhaust_flow_m3_per_h": 200.0, "exhaust_flow_u95_m3_per_h": 12.0})
    (check,) = exhaust_check(told(short, a_window()), ONE)
    assert check.passed is False
    assert exhaust_check(None, ONE) == ()


def test_with_two_ducts_what_the_intake_brings_is_not_counted_as_carried() -> None:
    conditions = CONDITIONS | {"condenser_inlet_temp_c": _m(35.0), "condenser_outlet_temp_c": _m(58.0)}
    found = told(a_unit(TWO), a_window(conditions=conditions))
    (check,) = exhaust_check(found, TWO)
    assert check.value == pytest.approx(1.0, abs=0.35)
    assert check.u95 is not None
