"""Spellings of physical units, what they measure, and the way to SI."""

from __future__ import annotations

import re
from dataclasses import dataclass

from reduction.errors import Place, UnreadableValue
from reduction.readers.table import FloatArray

# Exact by definition: international foot and avoirdupois pound (1959), US gallon 231 in³, imperial gallon
# 4.54609 L, International Table Btu, thermochemical constants not used. Standard atmosphere units likewise.
FOOT_M = 0.3048
POUND_KG = 0.45359237
US_PINT_M3 = 231 * (FOOT_M / 12) ** 3 / 8
IMPERIAL_PINT_M3 = 4.54609e-3 / 8
BTU_J = 1055.05585262
KELVIN_AT_0_C = 273.15


@dataclass(frozen=True)
class PhysicalUnit:
    """A unit as people write it: SI value = logged value × `factor` + `offset`."""

    symbol: str
    quantity: str
    factor: float
    offset: float
    si: str
    spellings: tuple[str, ...]


def _unit(symbol: str, quantity: str, si: str, factor: float, spellings: str = "", offset: float = 0.0) -> PhysicalUnit:
    return PhysicalUnit(symbol, quantity, factor, offset, si, tuple(spellings.split()))


UNITS: tuple[PhysicalUnit, ...] = (
    _unit(
        "°C",
        "temperature",
        "°C",
        1.0,
        "C degC deg.C degreesC degreeC deg_C celsius °Celsius GradC grad_C gradosC ℃ DegC",
    ),
    _unit("°F", "temperature", "°C", 5 / 9, "F degF deg.F degreesF degreeF deg_F fahrenheit °Fahrenheit ℉", -160 / 9),
    _unit("K", "temperature", "°C", 1.0, "kelvin degK °K", -KELVIN_AT_0_C),
    _unit("W", "power", "W", 1.0, "watt watts"),
    _unit("kW", "power", "W", 1e3, "kilowatt kilowatts"),
    _unit("mW", "power", "W", 1e-3, "milliwatt milliwatts"),
    _unit("Btu/h", "power", "W", BTU_J / 3600, "btuh btu/hr btu/hour btuperhour btu_h btuhr btu/hrs btu_per_h"),
    _unit("kBtu/h", "power", "W", BTU_J / 3.6, "kbtuh kbtu/hr mbh"),
    _unit("ton", "power", "W", 12000 * BTU_J / 3600, "tons tr tonref refrigerationton"),
    _unit("hp", "power", "W", 745.69987158227, "horsepower"),
    _unit("VA", "apparent_power", "VA", 1.0, "voltampere V·A"),
    _unit("kVA", "apparent_power", "VA", 1e3, "kilovoltampere"),
    _unit("mVA", "apparent_power", "VA", 1e-3, "mA·V"),
    _unit("var", "reactive_power", "var", 1.0, "vars voltamperereactive"),
    _unit("kvar", "reactive_power", "var", 1e3, ""),
    _unit("VAh", "apparent_energy", "VAh", 1.0, ""),
    _unit("varh", "reactive_energy", "varh", 1.0, ""),
    _unit("Wh", "energy", "J", 3600.0, "watthour watthours W·h W-h whr"),
    _unit("kWh", "energy", "J", 3.6e6, "kilowatthour kilowatthours kW·h kW-h kwhr"),
    _unit("MWh", "energy", "J", 3.6e9, "megawatthour MW·h"),
    _unit("J", "energy", "J", 1.0, "joule joules W·s ws"),
    _unit("kJ", "energy", "J", 1e3, "kilojoule"),
    _unit("mWh", "energy", "J", 3.6, "milliwatthour"),
    _unit("W·min", "energy", "J", 60.0, "Wmin wattminute"),
    _unit("mW·min", "energy", "J", 0.06, "mWmin milliwattminute"),
    _unit("MJ", "energy", "J", 1e6, "megajoule"),
    _unit("Btu", "energy", "J", BTU_J, "btus"),
    _unit(
        "%",
        "humidity",
        "%",
        1.0,
        "%rh percent rh% %r.h. %relhum pct prozent %rF %rel %HR %H.R. r.H.% %r.F. percentrh rel%",
    ),
    _unit("fraction", "humidity", "%", 100.0, "fractionof1"),
    _unit("g/kg", "humidity_ratio", "kg/kg", 1e-3, "g/kgda gkg"),
    _unit("g/m³", "absolute_humidity", "kg/m³", 1e-3, "g/m3"),
    _unit("g", "mass", "kg", 1e-3, "gram grams gramm gramme gramos gr"),
    _unit("kg", "mass", "kg", 1.0, "kilogram kilograms kilogramm kilo kgs"),
    _unit("lb", "mass", "kg", POUND_KG, "lbs pound pounds lbm"),
    _unit("oz", "mass", "kg", POUND_KG / 16, "ounce ounces"),
    _unit("L", "volume", "m³", 1e-3, "l liter litre liters litres ltr"),
    _unit("mL", "volume", "m³", 1e-6, "ml milliliter millilitre cc cm³ cm3"),
    _unit("m³", "volume", "m³", 1.0, "m3 cbm cubicmeter cubicmetre"),
    _unit("US pint", "volume", "m³", US_PINT_M3, "pint pints pt uspt uspint pintsus pintus"),
    _unit("imp. pint", "volume", "m³", IMPERIAL_PINT_M3, "imppt impint imperialpint ukpint pintuk"),
    _unit("US gal", "volume", "m³", 8 * US_PINT_M3, "gal gallon gallons usgal"),
    _unit("fl oz", "volume", "m³", US_PINT_M3 / 16, "floz fl.oz usfloz"),
    _unit("m³/h", "air_flow", "m³/s", 1 / 3600, "m3/h cbm/h m³/hr m3/hr m3h m³h cmh m3_h"),
    _unit("m³/s", "air_flow", "m³/s", 1.0, "m3/s"),
    _unit("m³/min", "air_flow", "m³/s", 1 / 60, "m3/min cmm"),
    _unit("L/s", "air_flow", "m³/s", 1e-3, "l/s lps"),
    _unit("L/min", "air_flow", "m³/s", 1e-3 / 60, "l/min lpm"),
    _unit("cfm", "air_flow", "m³/s", FOOT_M**3 / 60, "ft³/min ft3/min scfm cuft/min"),
    _unit("g/h", "mass_flow", "kg/s", 1e-3 / 3600, "g/hr"),
    _unit("kg/h", "mass_flow", "kg/s", 1 / 3600, "kg/hr"),
    _unit("L/h", "volume_flow", "m³/s", 1e-3 / 3600, "l/h l/hr"),
    _unit("US pint/h", "volume_flow", "m³/s", US_PINT_M3 / 3600, "pint/h pints/h pt/h pints/hr"),
    _unit("m/s", "speed", "m/s", 1.0, "mps"),
    _unit("ft/min", "speed", "m/s", FOOT_M / 60, "fpm"),
    _unit("km/h", "speed", "m/s", 1 / 3.6, "kmh kph"),
    _unit("mph", "speed", "m/s", 5280 * FOOT_M / 3600, ""),
    _unit("dB(A)", "sound_level", "dB(A)", 1.0, "dBA dB decibel LAeq dba"),
    _unit("V", "voltage", "V", 1.0, "volt volts vac VAC Vrms"),
    _unit("mV", "voltage", "V", 1e-3, "millivolt"),
    _unit("A", "current", "A", 1.0, "amp amps ampere amperes aac Arms"),
    _unit("mA", "current", "A", 1e-3, "milliamp"),
    _unit("W/m²", "irradiance", "W/m²", 1.0, "w/m2 wm2 w/m^2 W·m-2 watt/m²"),
    _unit("lx", "illuminance", "lx", 1.0, "lux"),
    _unit("Pa", "pressure", "Pa", 1.0, "pascal"),
    _unit("hPa", "pressure", "Pa", 100.0, "mbar hectopascal"),
    _unit("kPa", "pressure", "Pa", 1e3, "kilopascal"),
    _unit("bar", "pressure", "Pa", 1e5, ""),
    _unit("inHg", "pressure", "Pa", 3386.389, "inchesHg in.Hg"),
    _unit("psi", "pressure", "Pa", 6894.757293168, "psig psia"),
    _unit("inH2O", "pressure", "Pa", 249.08891, "inwc inwg in.wc"),
    _unit("Hz", "frequency", "Hz", 1.0, "hertz"),
    _unit("rpm", "rotation", "1/s", 1 / 60, "1/min r/min"),
    _unit("ppm", "concentration", "ppm", 1.0, ""),
    _unit("s", "duration", "s", 1.0, "sec secs second seconds sek sekunden"),
    _unit("ms", "duration", "s", 1e-3, "msec millisecond milliseconds"),
    _unit("min", "duration", "s", 60.0, "mins minute minutes minuten"),
    _unit("h", "duration", "s", 3600.0, "hr hrs hour hours std stunden"),
    _unit("d", "duration", "s", 86400.0, "day days tage"),
)
STATE = "state"  # where a unit stands: cells such as on and off, read as 1 and 0
_EXACT = {s.replace(" ", ""): u for u in UNITS for s in (u.symbol, *u.spellings)}
_FOLDED: dict[str, PhysicalUnit] = {}
for _spelling, _each in _EXACT.items():
    _FOLDED.setdefault(_spelling.casefold(), _each)
_CLEAN = str.maketrans({"º": "°", "˚": "°", "\u00a0": None, "\u202f": None, " ": None, "⋅": "·", "*": "·", "^": None})


def find_unit(text: str) -> PhysicalUnit | None:
    """Return the unit a spelling stands for, or None.

    Examples
    --------
    >>> find_unit("deg F").symbol, find_unit("BTU/hr").quantity, find_unit("banana")
    ('°F', 'power', None)
    """
    spelling = text.translate(_CLEAN).strip(".")
    if re.search(r"(?<=m)[23]$|(?<=m)[23](?=/)", spelling):
        spelling = re.sub(r"(?<=m)3", "³", re.sub(r"(?<=m)2", "²", spelling))
    return _EXACT.get(spelling) or _FOLDED.get(spelling.casefold())


def to_si(values: FloatArray, quantity_unit: str, is_difference: bool = False) -> tuple[FloatArray, str]:
    """Convert logged values to SI, differences by scale alone.

    Parameters
    ----------
    values
        As logged, any shape. [quantity_unit]
    quantity_unit
        Any spelling this vocabulary knows, or empty for a number without a unit.
    is_difference
        A difference of two temperatures keeps no zero point and comes out in K.

    Returns
    -------
    tuple
        The values and their SI unit; temperatures in °C, humidity in %, as everywhere in this program.

    Raises
    ------
    UnreadableValue
        If the unit is not known.

    Examples
    --------
    >>> import numpy as np
    >>> celsius, unit = to_si(np.array([76.1, 80.4]), "°F")
    >>> celsius.round(2).tolist(), unit
    ([24.5, 26.89], '°C')
    >>> to_si(np.array([18.0]), "°F", is_difference=True)
    (array([10.]), 'K')
    """
    if not quantity_unit or quantity_unit == STATE:
        return values, quantity_unit
    unit = find_unit(quantity_unit)
    if unit is None:
        raise UnreadableValue(
            place=Place("units"), found=quantity_unit, expected="a unit such as °C, °F, W, kW, kWh, %, g or cfm",
            remedy="State the unit of the channel in one of these spellings.",
        )  # fmt: skip
    if is_difference:
        return values * unit.factor, "K" if unit.quantity == "temperature" else unit.si
    if unit.factor == 1.0 and unit.offset == 0.0:
        return values, unit.si
    return values * unit.factor + unit.offset, unit.si
