"""Numbers that stand for “no reading”: power-up values, open circuits, over-range codes."""

from __future__ import annotations

import numpy as np

from reduction.readers.headings import Heading
from reduction.readers.table import Fault, FloatArray

_ALWAYS = {
    "temperature": (-127.0, -196.6, 999.9, 9999.0, -9999.0, -999.0, -999.9, 32767.0, 65535.0, 6553.5, 3276.7, -3276.8, 7999.0, -7999.0, -99.9, 1e6),
    "humidity": (999.9, 9999.0, -9999.0, -999.0, 65535.0, 6553.5, 32767.0, 3276.7, 7999.0, -7999.0, 255.0, -99.9, -127.0),
    "power": (65535.0, 6553.5, -9999.0, -999.0, 32767.0, 999999.0, 4294967295.0, 429496729.5, -127.0),
    "": (-127.0, 999.9, -9999.0, 65535.0, 32767.0, 7999.0, -7999.0, -999.0),
}  # fmt: skip
_POWER_UP_C = (
    85.0  # what a common one-wire thermometer shows before its first conversion (maker's data sheet, from memory)
)
_NEAR_C = 5.0


def without_sentinels(name: str, heading: Heading, values: FloatArray) -> tuple[FloatArray, list[Fault]]:
    """Replace codes by NaN; 85.0 °C goes only where its neighbours are not near it.

    Examples
    --------
    >>> from reduction.readers.headings import parse_heading
    >>> values = np.array([26.4, 85.0, -127.0, 26.5])
    >>> without_sentinels("t_room", parse_heading("room_C"), values)[0].tolist()
    [26.4, nan, nan, 26.5]
    """
    codes = _ALWAYS.get(heading.quantity, _ALWAYS[""] if heading.quantity == "" else ())
    if not codes or not len(values):
        return values, []
    lo, hi = _extremes(values)
    faults: list[Fault] = []
    found = [c for c in codes if lo <= c <= hi]
    bad = np.zeros(len(values), dtype=bool)
    for code in found:
        here = values == code
        if here.any() and _out_of_place(values, here):
            bad |= here
            faults.append(_fault(name, code, here, "is a code for a missing or over-ranged sensor"))
    if heading.quantity in {"temperature", ""} and lo <= _POWER_UP_C <= hi:
        here = _power_up(values, bad)
        if here.any():
            bad |= here
            faults.append(
                _fault(
                    name,
                    _POWER_UP_C,
                    here,
                    "is what a sensor shows before its first conversion; its neighbours are far from it",
                )
            )
    return (np.where(bad, np.nan, values), faults) if bad.any() else (values, [])


def _extremes(values: FloatArray) -> tuple[float, float]:
    with np.errstate(invalid="ignore"):
        lo, hi = float(np.min(values)), float(np.max(values))
    if np.isnan(lo):
        known = values[np.isfinite(values)]
        return (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    return lo, hi


def _out_of_place(values: FloatArray, here: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> bool:
    """A code is one if the other readings do not come near it."""
    others = values[~here & np.isfinite(values)]
    if not len(others):
        return True
    code = float(values[here][0])
    return bool(np.min(np.abs(others - code)) > max(2.0, 0.02 * abs(code)))


def _power_up(
    values: FloatArray, bad: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    here = values == _POWER_UP_C
    known = np.flatnonzero(np.isfinite(values) & ~bad & ~here)
    if not here.any() or not len(known):
        return np.zeros(len(values), dtype=bool)
    rows = np.flatnonzero(here)
    after = np.clip(np.searchsorted(known, rows), 0, len(known) - 1)
    before = np.clip(after - 1, 0, len(known) - 1)
    distance = np.minimum(np.abs(values[known[after]] - _POWER_UP_C), np.abs(values[known[before]] - _POWER_UP_C))
    here[rows[distance <= _NEAR_C]] = False
    return here


def _fault(name: str, code: float, here: np.ndarray[tuple[int], np.dtype[np.bool_]], why: str) -> Fault:
    return Fault("sentinel", int(here.sum()), int(np.flatnonzero(here)[0]) + 1, name,
        f"“{name}”: {int(here.sum())} reading(s) of exactly {code:g} count as missing: {code:g} {why}.")  # fmt: skip
