"""Units of columns that do not state them, and units that cannot be right, judged over all columns together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reduction.readers.headings import Heading
from reduction.readers.place_words import places_named
from reduction.readers.table import FloatArray, Guess, Question
from reduction.readers.vocabulary import PhysicalUnit, to_si

# Levels that tell scales apart; common practice in tests of room units, no source.
_HOTTEST_AIR_C, _HOTTEST_C, _COLDEST_AIR_C = 55.0, 75.0, -5.0
_KELVIN_FROM, _FAHRENHEIT_FROM, _SURE_CELSIUS_TO = 200.0, 50.0, 40.0
_KILOWATTS_TO, _STRAY_KW = 12.0, 0.3
_OTHER_POWER = {"W": "kW", "kW": "W"}
_LOADS = {"heater", "unit"}
_LOAD_FROM_W, _STRAY_W = 150.0, 5.0
_AIR_LEVELS = {"°C": (-30.0, 60.0), "°F": (50.0, 130.0)}
_COLDEST_C = -100.0
_SAMPLE = 2000
_USUAL = {
    "humidity": "%", "power": "W", "mass": "g", "sound_level": "dB(A)", "voltage": "V", "current": "A",
    "air_flow": "m³/h", "irradiance": "W/m²", "pressure": "hPa", "state": "state",
}  # fmt: skip
_AIR_PLACES = {"supply", "return", "room", "outdoor", "condenser", "adjacent"}
_HOT_PLACES = {"condenser", "outlet", "exhaust", "heater", "surface"}

Described = tuple[Heading, FloatArray, bool]


@dataclass(frozen=True)
class Settled:
    """The unit a column is taken to be in, with the reason, and what must be asked."""

    quantity: str
    symbol: str
    guess: Guess
    questions: tuple[Question, ...] = ()


@dataclass(frozen=True)
class _Level:
    """Median, least and greatest of a column, from a sample; NaN without readings."""

    middle: float
    least: float
    greatest: float
    has_decimals: bool


def settle_units(columns: Sequence[Described]) -> list[Settled]:
    """Settle quantity and unit of every column of a file.

    Parameters
    ----------
    columns
        Of each its heading, values of shape (n,), and whether the cells were state words.

    Returns
    -------
    list
        A stated unit is kept even where it cannot be right; then there is a question. It is never mended in silence.
    """
    levels = [_level(values) for _, values, _ in columns]
    scale = _temperature_scale(columns, levels)
    named = frozenset(heading.quantity for heading, _, _ in columns)
    return [
        _settle(heading, is_state, level, scale, named)
        for (heading, _, is_state), level in zip(columns, levels, strict=True)
    ]


def _level(values: FloatArray) -> _Level:
    sample = values[:: max(1, len(values) // _SAMPLE)]
    known = sample[np.isfinite(sample)]
    if not len(known):
        return _Level(np.nan, np.nan, np.nan, False)
    return _Level(float(np.median(known)), float(known.min()), float(known.max()), bool(np.any(known % 1)))


def _temperature_scale(columns: Sequence[Described], levels: Sequence[_Level]) -> tuple[str, str, float]:
    """Choose the scale of temperatures that state none: that of their neighbours, else by the level of them all."""
    stated = {h.unit.symbol for h, _, _ in columns if h.unit and h.unit.quantity == "temperature"}
    if len(stated) == 1:
        return stated.pop(), "as the other temperatures of the file state", 0.85
    middles = [
        level.middle
        for (h, _, _), level in zip(columns, levels, strict=True)
        if h.unit is None and h.quantity == "temperature" and not h.is_difference and np.isfinite(level.middle)
    ]
    if not middles:
        return "°C", "no unit stated", 0.5
    level = float(np.median(middles))
    if level > _KELVIN_FROM:
        return "K", f"no unit stated; a level of {level:.0f} is kelvin", 0.9
    if level > _FAHRENHEIT_FROM:
        return "°F", f"no unit stated; a level of {level:.0f} over all temperatures is °F", 0.85
    return "°C", f"no unit stated; a level of {level:.0f} is °C", 0.85 if level < _SURE_CELSIUS_TO else 0.6


def _settle(
    heading: Heading, is_state: bool, level: _Level, scale: tuple[str, str, float], named: frozenset[str]
) -> Settled:
    if is_state:
        return _taken("state", "state", heading, "words such as on and off", 0.97)
    if heading.unit and heading.quantity != heading.unit.quantity:
        because = f"“{heading.quantity}” has no part in the test"
        return _taken(heading.quantity, heading.unit.symbol, heading, because, 0.8)
    if heading.unit:
        return _stated(heading, heading.unit, level)
    if heading.quantity == "temperature":
        return _taken("temperature", scale[0], heading, scale[1], scale[2])
    if heading.quantity == "energy":
        return _energy(heading, level)
    return _usual(heading, level) if heading.quantity in _USUAL else _by_level(heading, level, named)


def _usual(heading: Heading, level: _Level) -> Settled:
    """Take the unit that is usual for the quantity, unless the level speaks for another."""
    quantity, usual = heading.quantity, _USUAL[heading.quantity]
    if quantity == "humidity" and 0 < level.greatest <= 1.0:
        because = f"no unit stated; a humidity of {level.middle:.2f} is a fraction of one, not a percentage"
        return _taken(quantity, "fraction", heading, because, 0.8)
    if quantity == "power" and 0 < level.greatest < _KILOWATTS_TO and level.has_decimals:
        return _taken(quantity, "kW", heading, f"no unit stated; at most {level.greatest:.2f} is kW", 0.7)
    return _taken(quantity, usual, heading, f"no unit stated; {usual} is usual for {quantity.replace('_', ' ')}", 0.75)


def _taken(quantity: str, symbol: str, heading: Heading, because: str, sure: float) -> Settled:
    return Settled(quantity, symbol, Guess("unit", symbol, f"“{heading.text}”: {because}", sure))


def _stated(heading: Heading, unit: PhysicalUnit, level: _Level) -> Settled:
    """Keep the stated unit; where the level speaks against it, ask."""
    better = None
    if unit.quantity == "temperature" and not heading.is_difference and np.isfinite(level.middle):
        better = _better_scale(unit.symbol, level.middle, not _HOT_PLACES & set(places_named(heading.words)))
    elif unit.symbol in _OTHER_POWER and _LOADS & set(places_named(heading.words)):
        better = _better_power(unit.symbol, level)
    if better is None:
        return _taken(unit.quantity, unit.symbol, heading, heading.because, 0.98)
    shown = f"{level.middle if unit.quantity == 'temperature' else level.greatest:.1f} {unit.symbol}"
    because = f"the heading says {unit.symbol}, but {shown} fits no part of a test; {better[1]}"
    asked = Question(f"unit of {heading.text}", (better[0], unit.symbol), because)
    return Settled(
        unit.quantity, unit.symbol, Guess("unit", unit.symbol, f"“{heading.text}”: {because}", 0.1), (asked,)
    )


def _better_power(symbol: str, level: _Level) -> tuple[str, str] | None:
    """Doubt a heater or unit of a few watts and one of a hundred kilowatts."""
    other = _OTHER_POWER[symbol]
    few = symbol == "W" and level.has_decimals and _STRAY_KW < level.greatest < _KILOWATTS_TO
    many = symbol == "kW" and level.greatest > _LOAD_FROM_W
    return (other, f"as {other} it is a load of a test") if few or many else None


def _better_scale(symbol: str, middle: float, is_air: bool) -> tuple[str, str] | None:
    celsius, as_fahrenheit = (float(to_si(np.array([middle]), s)[0][0]) for s in (symbol, "°F"))
    if symbol == "°C" and celsius > (_HOTTEST_AIR_C if is_air else _HOTTEST_C):
        if middle > _KELVIN_FROM:
            return "K", f"as kelvin it is {middle - 273.15:.1f} °C"
        return "°F", f"as °F it is {as_fahrenheit:.1f} °C"
    if symbol == "°F" and celsius < _COLDEST_AIR_C and middle > 0 and is_air:
        return "°C", f"it would be {celsius:.1f} °C; as °C it is plausible"
    if symbol == "K" and celsius < _COLDEST_C:
        return "°C", f"it would be {celsius:.0f} °C; as °C it is plausible"
    return None


def _energy(heading: Heading, level: _Level) -> Settled:
    """Energy without a unit: kilowatt-hours where it moves by decimals, watt-hours where by whole numbers."""
    symbol = "kWh" if level.has_decimals or not level.greatest > _FAHRENHEIT_FROM else "Wh"
    because = f"no unit stated; {'decimals' if symbol == 'kWh' else 'whole numbers'} suggest {symbol}"
    asked = Question(f"unit of {heading.text}", ("kWh", "Wh"), because)
    return Settled("energy", symbol, Guess("unit", symbol, f"“{heading.text}”: {because}", 0.55), (asked,))


def _by_level(heading: Heading, level: _Level, named: frozenset[str]) -> Settled:
    """Take a nameless column for what its level suggests, and say how little that is.

    Where the file names a quantity in other headings, one that names neither it nor a place is something else.
    """
    if heading.quantity:
        return _taken("", "", heading, f"“{heading.quantity}” has no part in the test", 0.8)
    span = f"neither quantity nor unit stated; {level.least:.4g} to {level.greatest:.4g}"
    places = set(places_named(heading.words))
    if level.greatest > _LOAD_FROM_W and level.least >= -_STRAY_W and (places or "power" not in named):
        return _taken("power", "W", heading, f"{span} could be watts", 0.5)
    has_place = bool(_AIR_PLACES & places)
    if "temperature" in named and not places:
        return _taken("", "", heading, "neither quantity nor unit stated, as the file's temperatures have", 0.5)
    for symbol, (low, high) in _AIR_LEVELS.items():
        if low < level.least and level.greatest <= high and level.has_decimals:
            return _taken("temperature", symbol, heading, f"{span} could be {symbol}", 0.7 if has_place else 0.5)
    return _taken("", "", heading, "neither quantity nor unit stated", 0.3)
