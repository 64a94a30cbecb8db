"""Moist air against the handbook's tables and examples, and against the real-gas model of CoolProp."""

from __future__ import annotations

import CoolProp.CoolProp
import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from reduction.ground import moist_air
from reduction.ground.constants import BTU_J, BTU_PER_H_PER_W, POUND_KG, celsius_from_fahrenheit, eer_from_cop
from tests.published.rows import Row, published

TEMPS_C = np.arange(-10.0, 60.1, 2.5)
CONVERSIONS = {
    "btu_per_h_per_w": lambda _: BTU_PER_H_PER_W,
    "w_of_btu_per_h": lambda value: value / BTU_PER_H_PER_W,
    "cop_of_eer": lambda value: value / eer_from_cop(1.0),
}


def _coolprop(quantity: str, humidity: str, values: np.ndarray, pressure_pa: float) -> np.ndarray:
    states = zip(TEMPS_C, np.broadcast_to(values, TEMPS_C.shape), strict=True)
    return np.array([HAPropsSI(quantity, "T", t + 273.15, "P", pressure_pa, humidity, v) for t, v in states])


def _ratio(row: Row) -> float:
    if row.ratio is not None:
        return row.ratio
    if row.wet_bulb_c is not None:
        return moist_air.humidity_ratio_from_wet_bulb(row.temp_c, row.wet_bulb_c, row.pressure_pa)
    return moist_air.humidity_ratio(row.temp_c, row.rh_percent or 0.0, row.pressure_pa)


def _computed(row: Row) -> float:
    if row.quantity == "saturation_pressure_pa":
        return moist_air.saturation_pressure_pa(row.temp_c)
    ratio = _ratio(row)
    if row.quantity == "enthalpy_btu_per_lb":
        # From dry air at 0 °F, where the handbook's IP enthalpy is nought.
        nought = moist_air.enthalpy_j_per_kg(celsius_from_fahrenheit(0.0), 0.0, row.pressure_pa)
        heat = moist_air.enthalpy_j_per_kg(row.temp_c, ratio, row.pressure_pa) - nought
        return heat * POUND_KG / BTU_J
    if row.quantity == "humidity_ratio":
        return ratio
    if row.quantity == "dew_point_c":
        return moist_air.dew_point_c(ratio, row.pressure_pa)
    return getattr(moist_air, row.quantity)(row.temp_c, ratio, row.pressure_pa)


@pytest.mark.parametrize("row", published("conversions"), ids=str)
def test_conversions_agree_with_their_definitions(row: Row) -> None:
    assert row.agrees(CONVERSIONS[row.quantity](row.input))


@pytest.mark.parametrize("row", published("moist_air"), ids=str)
def test_moist_air_agrees_with_the_handbook_and_the_references(row: Row) -> None:
    assert row.agrees(_computed(row))


@pytest.mark.parametrize("row", published("station_pressure"), ids=str)
def test_pressure_follows_altitude_as_in_the_handbook(row: Row) -> None:
    assert row.agrees(moist_air.station_pressure_pa(row.altitude_m))


@pytest.mark.parametrize("row", published("water"), ids=str)
def test_water_agrees_with_the_steam_tables(row: Row) -> None:
    assert row.agrees(getattr(moist_air, row.quantity)(row.temp_c))


def test_saturation_pressure_is_within_a_twentieth_of_a_percent_of_iapws95() -> None:
    # Source: IAPWS-95 as CoolProp computes it, on the saturation line above the triple point.
    reference = [CoolProp.CoolProp.PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in np.arange(0.02, 60, 2.0)]
    assert moist_air.saturation_pressure_pa(np.arange(0.02, 60, 2.0)) == pytest.approx(reference, rel=5e-4)


@pytest.mark.parametrize("pressure_pa", [83_000.0, 95_461.0, 101_325.0])
@pytest.mark.parametrize("rh", [0.15, 0.5, 0.97])
def test_humidity_ratio_and_enthalpy_are_within_a_thousandth_of_the_real_gas(rh: float, pressure_pa: float) -> None:
    # Source: the virial model of ASHRAE RP-1485 as CoolProp computes it; enthalpy passes zero, so 8 J/kg is allowed.
    ratio = _coolprop("W", "R", np.array(rh), pressure_pa)
    enthalpy = _coolprop("H", "R", np.array(rh), pressure_pa)
    assert moist_air.humidity_ratio(TEMPS_C, np.full_like(TEMPS_C, 100 * rh), pressure_pa) == pytest.approx(
        ratio, rel=1e-3
    )
    assert moist_air.enthalpy_j_per_kg(TEMPS_C, ratio, pressure_pa) == pytest.approx(enthalpy, rel=1e-3, abs=8.0)


@pytest.mark.parametrize("rh", [0.15, 0.5, 0.97])
def test_wet_bulb_dew_point_and_volume_agree_with_the_real_gas(rh: float) -> None:
    # Source: CoolProp HAPropsSI; its wet bulb below 0 °C is over ice, ours over water, so only above is compared.
    ratio = _coolprop("W", "R", np.array(rh), 101_325.0)
    wet_bulb = _coolprop("B", "R", np.array(rh), 101_325.0) - 273.15
    above = wet_bulb > 0.0
    assert moist_air.wet_bulb_c(TEMPS_C, ratio)[above] == pytest.approx(wet_bulb[above], abs=0.02)
    assert moist_air.dew_point_c(ratio) == pytest.approx(
        _coolprop("D", "R", np.array(rh), 101_325.0) - 273.15, abs=0.01
    )
    volume = _coolprop("V", "R", np.array(rh), 101_325.0)
    assert moist_air.specific_volume_m3_per_kg(TEMPS_C, ratio) == pytest.approx(volume, rel=1e-3)
