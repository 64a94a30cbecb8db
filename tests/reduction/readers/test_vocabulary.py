"""Units against scipy.constants, which holds NIST's values (SP 811 and CODATA)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import constants

from reduction.errors import UnreadableValue
from reduction.readers.vocabulary import UNITS, find_unit, to_si

OUTSIDE = {
    "Btu": constants.Btu_IT,
    "Btu/h": constants.Btu_IT / constants.hour,
    "hp": constants.hp,
    "lb": constants.pound,
    "oz": constants.ounce,
    "US gal": constants.gallon,
    "US pint": constants.gallon / 8,
    "fl oz": constants.fluid_ounce,
    "psi": constants.psi,
    "cfm": constants.foot**3 / constants.minute,
    "m³/h": 1 / constants.hour,
    "L/s": constants.liter,
    "mph": constants.mph,
    "ft/min": constants.foot / constants.minute,
    "kWh": 1000 * constants.hour,
    "bar": constants.bar,
}


@pytest.mark.parametrize("symbol", OUTSIDE)
def test_a_unit_converts_as_scipy_constants_says(symbol: str) -> None:
    values, _ = to_si(np.array([1.0]), symbol)
    assert values[0] == pytest.approx(OUTSIDE[symbol], rel=1e-9)


@pytest.mark.parametrize(("symbol", "scale"), [("°F", "F"), ("K", "K"), ("°C", "C")])
def test_a_temperature_converts_as_scipy_says(symbol: str, scale: str) -> None:
    logged = np.array([-40.0, 0.0, 32.0, 78.9, 212.0, 300.0])
    values, unit = to_si(logged, symbol)
    assert unit == "°C"
    assert values == pytest.approx(constants.convert_temperature(logged, scale, "C"), abs=1e-9)


def test_the_inch_of_mercury_is_that_at_0_c() -> None:
    assert to_si(np.array([1.0]), "inHg")[0][0] == pytest.approx(constants.inch * constants.mmHg * 1000, rel=1e-5)


def test_a_difference_scales_and_keeps_no_zero() -> None:
    values, unit = to_si(np.array([18.0, 0.0, -1.8]), "°F", is_difference=True)
    assert values.tolist() == pytest.approx([10.0, 0.0, -1.0])
    assert unit == "K"


SPELLINGS = {
    "deg C": "°C", "Deg F": "°F", "º C": "°C", "BTU/hr": "Btu/h", "m3/h": "m³/h", "m^3/h": "m³/h", "CFM": "cfm",
    "%rF": "%", "dBA": "dB(A)", "w": "W", "KWH": "kWh", "W/m2": "W/m²", "lbs": "lb", "mW": "mW", "MWh": "MWh",
}  # fmt: skip


@pytest.mark.parametrize(("spelling", "symbol"), SPELLINGS.items())
def test_a_spelling_is_known(spelling: str, symbol: str) -> None:
    found = find_unit(spelling)
    assert found is not None
    assert found.symbol == symbol


def test_no_spelling_stands_for_two_units() -> None:
    seen: dict[str, str] = {}
    for unit in UNITS:
        for spelling in (unit.symbol, *unit.spellings):
            assert seen.setdefault(spelling, unit.symbol) == unit.symbol


def test_an_unknown_unit_is_refused_with_its_name() -> None:
    with pytest.raises(UnreadableValue, match="found “furlongs”, expected a unit"):
        to_si(np.array([1.0]), "furlongs")
