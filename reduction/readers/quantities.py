"""Units of columns that do not state them, and units that cannot be right, judged over all columns together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reduction.readers.headings import Heading
from reduction.readers.table import FloatArray, Guess, Question
from reduction.readers.vocabulary import to_si

_DEFAULT = {"humidity": "%", "power": "W", "energy": "kWh", "mass": "g", "sound_level": "dB(A)", "voltage": "V", "current": "A",
    "air_flow": "m³/h", "irradiance": "W/m²", "pressure": "hPa", "state": "state"}  # fmt: skip
_HOTTEST_ROOM_C = 55.0  # no air of a room, hall or yard in a test; condenser outlets stay below 70 °C in practice
_HOTTEST_C = 75.0
_COLDEST_ROOM_C = -5.0
_AIR_WORDS = frozenset("room return indoor hall adjacent ambient raum zimmer pièce sala habitación inside".split())


@dataclass(frozen=True)
class Settled:
    """The unit a column is taken to be in, with the reason, and what must be asked."""

    quantity: str
    symbol: str
    guess: Guess
    questions: tuple[Question, ...] = ()


Described = tuple[str, Heading, FloatArray, bool]


def settle_units(columns: Sequence[Described]) -> list[Settled]:
    """Settle quantity and unit of every column of a file.

    A stated unit is kept even where it cannot be right; then there is a question, and it is never mended in silence.
    """
    middles = [_middle(values) for _, _, values, _ in columns]
    stated = {h.unit.symbol for _, h, _, _ in columns if h.unit and h.unit.quantity == "temperature"}
    silent = [
        m
        for (_, h, _, _), m in zip(columns, middles, strict=True)
        if h.unit is None and h.quantity == "temperature" and not h.is_difference
    ]
    scale = _temperature_scale(silent, stated)
    return [_settle(each, middle, scale) for each, middle in zip(columns, middles, strict=True)]


def _middle(values: FloatArray) -> float:
    sample = values[:: max(1, len(values) // 2000)]
    known = sample[np.isfinite(sample)]
    return float(np.median(known)) if len(known) else float("nan")


def _temperature_scale(middles: Sequence[float], stated: set[str]) -> tuple[str, str, float]:
    """Choose the scale of temperatures that state none, from the level of all of them."""
    if len(stated) == 1:
        return next(iter(stated)), "as the other temperatures of the file state", 0.85
    if not middles:
        return "°C", "no unit stated", 0.5
    level = float(np.median(middles))
    if level > 200:
        return "K", f"no unit stated; a level of {level:.0f} is kelvin", 0.9
    if level > 50:
        return "°F", f"no unit stated; a level of {level:.0f} is °F, as °C nobody could work there", 0.85
    return "°C", f"no unit stated; a level of {level:.0f} is °C", 0.85 if level < 40 else 0.6


def _settle(column: Described, middle: float, scale: tuple[str, str, float]) -> Settled:
    name, heading, values, is_state = column
    if is_state:
        return Settled("state", "state", Guess("unit", "state", f"“{name}”: words such as on and off", 0.97))
    if heading.unit:
        return _stated(name, heading, middle)
    if heading.quantity == "temperature":
        symbol, because, sure = scale
        return Settled("temperature", symbol, Guess("unit", symbol, f"“{name}”: {because}", sure))
    if heading.quantity == "energy":
        return _energy(name, values)
    if heading.quantity == "humidity" and 0 < middle <= 1.0:
        return Settled("humidity", "", Guess("unit", "", f"“{name}”: humidity of {middle:.2f}, a fraction of one", 0.5),
            (Question(f"unit of {name}", ("fraction of 1", "%"), f"a humidity of {middle:.2f} is no percentage"),))  # fmt: skip
    if heading.quantity == "power" and 0 < middle < 8 and float(np.nanmax(values)) < 12:
        return Settled(
            "power", "kW", Guess("unit", "kW", f"“{name}”: no unit stated; a level of {middle:.2f} is kW", 0.7)
        )
    if symbol := _DEFAULT.get(heading.quantity, ""):
        quantity = heading.quantity
        return Settled(
            quantity,
            symbol,
            Guess(
                "unit", symbol, f"“{name}”: no unit stated; {symbol} is usual for {quantity.replace('_', ' ')}", 0.75
            ),
        )
    return _by_level(name, values, middle, scale)


def _stated(name: str, heading: Heading, middle: float) -> Settled:
    unit = heading.unit
    if unit is None:
        raise ValueError("a stated unit is needed")
    guess = Guess("unit", unit.symbol, f"“{name}”: {heading.because}", 0.98)
    if unit.quantity != "temperature" or heading.is_difference or not np.isfinite(middle):
        return Settled(unit.quantity, unit.symbol, guess)
    celsius = float(to_si(np.array([middle]), unit.symbol)[0][0])
    is_air = bool(_AIR_WORDS & set(heading.words)) or not set(heading.words) & {
        "cond",
        "condenser",
        "outlet",
        "out",
        "exhaust",
        "heater",
        "coil",
        "pipe",
        "surface",
        "discharge",
    }
    other = _better_scale(unit.symbol, middle, celsius, is_air)
    if other is None:
        return Settled(unit.quantity, unit.symbol, guess)
    because = (
        f"the heading says {unit.symbol}, but {middle:.1f} {unit.symbol} is no temperature of this test; {other[1]}"
    )
    return Settled(unit.quantity, unit.symbol, Guess("unit", unit.symbol, f"“{name}”: {because}", 0.1),
        (Question(f"unit of {name}", (other[0], unit.symbol), because),))  # fmt: skip


def _better_scale(symbol: str, middle: float, celsius: float, is_air: bool) -> tuple[str, str] | None:
    hottest = _HOTTEST_ROOM_C if is_air else _HOTTEST_C
    if symbol == "°C" and celsius > hottest:
        fahrenheit = float(to_si(np.array([middle]), "°F")[0][0])
        return (
            ("K", f"as kelvin it is {middle - 273.15:.1f} °C")
            if middle > 200
            else ("°F", f"as °F it is {fahrenheit:.1f} °C")
        )
    if symbol == "°F" and celsius < _COLDEST_ROOM_C and 0 < middle < 60 and is_air:
        return "°C", f"it would be {celsius:.1f} °C, and as °C it is plausible"
    return None


def _energy(name: str, values: FloatArray) -> Settled:
    """Energy without a unit: kilowatt-hours where it moves by decimals, watt-hours where by whole numbers."""
    known = values[np.isfinite(values)]
    whole = len(known) > 0 and bool(np.all(known == np.round(known))) and float(known.max()) > 50
    symbol = "Wh" if whole else "kWh"
    because = f"no unit stated; {'whole numbers' if whole else 'decimals'} suggest {symbol}"
    return Settled("energy", symbol, Guess("unit", symbol, f"“{name}”: {because}", 0.55),
        (Question(f"unit of {name}", ("kWh", "Wh"), because),))  # fmt: skip


def _by_level(name: str, values: FloatArray, middle: float, scale: tuple[str, str, float]) -> Settled:
    """Take a nameless column for what its level suggests, and say how little that is."""
    known = values[:: max(1, len(values) // 2000)]
    known = known[np.isfinite(known)]
    lo, hi = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    if len(known) and hi > 150 and lo >= -5:
        return Settled(
            "power",
            "W",
            Guess("unit", "W", f"“{name}”: neither quantity nor unit stated; {lo:.0f} to {hi:.0f} could be watts", 0.5),
        )
    if len(known) and -30 < lo and hi <= 60 and len(np.unique(known)) > 2:
        symbol = "°C"
        return Settled(
            "temperature",
            symbol,
            Guess("unit", symbol, f"“{name}”: neither quantity nor unit stated; {lo:.1f} to {hi:.1f} could be °C", 0.5),
        )
    return Settled("", "", Guess("unit", "", f"“{name}”: neither quantity nor unit stated", 0.3))
