"""Numbers that stand for “no reading”: power-up values, open circuits, over-range codes."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from reduction.readers.headings import Heading
from reduction.readers.table import Fault, FloatArray
from reduction.readers.words import rows_of

BoolArray = NDArray[np.bool_]
_POWER_UP = {"°F": 185.0}  # 85 °C elsewhere: what a common one-wire thermometer shows before its first conversion
_POWER_UP_C = 85.0
_NEAR = 5.0  # a real reading has neighbours as near as this; common practice, no source
_CLEAR = 0.02  # of a code: other readings nearer than that make it a reading


@cache
def _codes(quantity: str) -> dict[float, str]:
    return {float(row["value"]): row["why"] for row in rows_of("sentinels.csv") if row["quantity"] == quantity}


def without_sentinels(name: str, heading: Heading, values: FloatArray) -> tuple[FloatArray, list[Fault]]:
    """Replace codes by NaN; a power-up value goes only where its neighbours are not near it.

    Examples
    --------
    >>> from reduction.readers.headings import parse_heading
    >>> values = np.array([26.4, 85.0, -127.0, 26.5])
    >>> without_sentinels("t_room", parse_heading("room_C"), values)[0].tolist()
    [26.4, nan, nan, 26.5]
    """
    least, greatest = _extremes(values)
    faults: list[Fault] = []
    bad = np.zeros(len(values), dtype=bool)
    for code, why in _codes(heading.quantity).items():
        if least <= code <= greatest and _is_code(values, here := values == code):
            bad |= here
            faults.append(_fault(name, code, here, why))
    start = _POWER_UP.get(heading.unit.symbol if heading.unit else "", _POWER_UP_C)
    if heading.quantity in {"temperature", ""} and least <= start <= greatest:
        here = _far_from_neighbours(values, start, bad)
        if here.any():
            bad |= here
            why = "what a sensor shows before its first conversion, and its neighbours are far from it"
            faults.append(_fault(name, start, here, why))
    return (np.where(bad, np.nan, values) if faults else values), faults


def _extremes(values: FloatArray) -> tuple[float, float]:
    """Least and greatest, NaN where there is none, which no code lies between."""
    if not len(values):
        return np.nan, np.nan
    return float(np.fmin.reduce(values)), float(np.fmax.reduce(values))


def _is_code(values: FloatArray, here: BoolArray) -> bool:
    """A code is one if the other readings do not come near it."""
    if not here.any():
        return False
    code = float(values[here][0])
    others = values[~here & np.isfinite(values)]
    return not len(others) or bool(np.min(np.abs(others - code)) > max(2.0, _CLEAR * abs(code)))


def _far_from_neighbours(values: FloatArray, code: float, bad: BoolArray) -> BoolArray:
    here = values == code
    known = np.flatnonzero(np.isfinite(values) & ~bad & ~here)
    if not here.any() or not len(known):
        return np.zeros(len(values), dtype=bool)
    rows = np.flatnonzero(here)
    after = np.clip(np.searchsorted(known, rows), 0, len(known) - 1)
    before = np.clip(after - 1, 0, len(known) - 1)
    distance = np.minimum(np.abs(values[known[after]] - code), np.abs(values[known[before]] - code))
    far = np.zeros(len(values), dtype=bool)
    far[rows[distance > _NEAR]] = True
    return far


def _fault(name: str, code: float, here: BoolArray, why: str) -> Fault:
    count = int(here.sum())
    sentence = f"“{name}”: {count} reading(s) of exactly {code:g} count as missing: {why}."
    return Fault("sentinel", count, None, name, sentence)
