"""Independent looks at a capacity."""

from __future__ import annotations

from typing import Any

import pytest

from reduction.judge.airside import AirSide, across_windows, cross_checks, indoor_flow_m3_per_h, outdoor_flow_m3_per_h
from reduction.session import CrossCheck, Measured


def _m(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u)


def _air(**changes: Any) -> AirSide:
    air: dict[str, Any] = {
        "capacity": _m(1700.0, 20.0),
        "sensible": _m(1700.0, 20.0),
        "power": _m(600.0, 3.0),
        "room_temp_c": _m(22.0, 0.1),
        "supply_temp_c": _m(7.0, 0.1),
        "condenser_inlet_temp_c": _m(33.0, 0.1),
        "condenser_outlet_temp_c": _m(42.0, 0.1),
    }
    return AirSide(**{**air, **changes})


def _check(name: str, air: AirSide) -> CrossCheck:
    return next(check for check in cross_checks(air) if check.name == name)


def test_1731_w_with_supply_at_7_and_return_at_22_is_the_usual_air_flow_of_its_class() -> None:
    # Common practice, no source: about 0.095 m³/s, about 200 cfm.
    flow = indoor_flow_m3_per_h(_air(sensible=_m(1731.0)))
    assert flow.value / 3600 == pytest.approx(0.095, abs=0.002)
    assert flow.value / 1.699 == pytest.approx(200, abs=5)


def test_a_flow_inferred_from_the_balance_closes_it_again_at_the_same_place() -> None:
    flow = indoor_flow_m3_per_h(_air())
    closure = _check("air-side closure", _air(measured_flow_m3_per_h=flow))
    assert closure.value == pytest.approx(1.0, abs=0.002)
    assert closure.passed


def test_the_same_flow_read_behind_the_coil_carries_more_because_cold_air_is_denser() -> None:
    at_return = _check("air-side closure", _air(measured_flow_m3_per_h=_m(330.0)))
    at_supply = _check("air-side closure", _air(measured_flow_m3_per_h=_m(330.0), flow_in_supply_air=True))
    assert at_supply.value / at_return.value == pytest.approx((22.0 + 273.15) / (7.0 + 273.15), rel=2e-3)


def test_the_air_side_needs_both_humidities_to_be_a_total() -> None:
    humid = _air(return_ratio=_m(0.010), supply_ratio=_m(0.006), measured_flow_m3_per_h=_m(330.0))
    assert _check("air-side closure", humid).because.startswith("Total")
    assert _check("air-side closure", _air(claimed_flow_m3_per_h=330.0)).because.startswith("Sensible")


def test_swapped_probes_trip_the_air_flow_check() -> None:
    check = _check("indoor air flow", _air(supply_temp_c=_m(22.0), room_temp_c=_m(7.0)))
    assert check.passed is False
    assert "swapped" in check.because


def test_a_claimed_flow_far_from_what_the_balance_implies_does_not_pass() -> None:
    assert _check("indoor air flow", _air(claimed_flow_m3_per_h=330.0)).passed is True
    assert _check("indoor air flow", _air(claimed_flow_m3_per_h=600.0)).passed is False


def test_outdoor_flow_carries_capacity_and_power_together() -> None:
    flow = outdoor_flow_m3_per_h(_air())
    assert flow.value / 3600 * 1.146 * 1005 * 9.0 == pytest.approx(2300.0, rel=0.02)


def test_outdoor_flow_that_changes_between_windows_is_found() -> None:
    same = across_windows({"cool": _air(), "warm": _air(power=_m(640.0, 3.0))})
    moved = across_windows({"cool": _air(), "warm": _air(condenser_outlet_temp_c=_m(38.0, 0.1))})
    assert all(check.passed for check in same)
    assert [check.passed for check in moved] == [True, False]
    assert "recirculation" in moved[1].because


def test_a_counter_that_disagrees_with_the_log_by_more_than_both_can_err_is_found() -> None:
    good = _check("energy counter against power log", _air(counters={"plug": (_m(603.0, 4.0), _m(600.0, 3.0))}))
    bad = _check("energy counter against power log", _air(counters={"plug": (_m(640.0, 4.0), _m(600.0, 3.0))}))
    assert good.passed
    assert not bad.passed


def test_the_room_sensors_furthest_apart_are_compared() -> None:
    sensors = {"desk": _m(22.0, 0.1), "shelf": _m(22.3, 0.1)}
    mixed = _check("room sensors", _air(room_sensors=sensors))
    layered = _check("room sensors", _air(room_sensors={**sensors, "floor": _m(20.8, 0.1)}))
    assert mixed.passed
    assert not layered.passed
    assert layered.because.startswith("shelf over floor, the furthest apart of 3")


def test_a_unit_that_is_off_raises_no_air_side_alarm() -> None:
    off = _air(
        capacity=_m(3.0, 20.0),
        sensible=_m(3.0, 20.0),
        supply_temp_c=_m(22.1, 0.1),
        condenser_outlet_temp_c=_m(33.0, 0.1),
    )
    assert all(check.passed is not False for check in cross_checks(off))
