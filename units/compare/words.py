"""What classes and bands are called, in the reader's units of measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from units.models import Unit
from units.pooled import BANDS
from units.quantities import METRIC, NO_BREAK, Display, cooling, temp

if TYPE_CHECKING:
    from collections.abc import Callable

TITLES = {
    "kind": "Kind",
    "compressor": "Compressor",
    "capacity": "Claimed capacity",
    "outdoor": "Tested at (outdoors)",
    "refrigerant": "Refrigerant",
    "voltage": "Voltage",
    "obtained": "How obtained",
    "price": "Price",
    "sound": "Claimed sound level",
    "tag": "Tag",
}


def _span(low: str, high: str, write: Callable[[float], str]) -> str:
    if low and high:
        return f"{write(float(low))} to {write(float(high))}"
    return f"{write(float(low))} and more" if low else f"below {write(float(high))}"


def _class_label(value: str, write: Callable[[float], str]) -> str:
    low, dash, high = value.partition("-")
    return _span(low, high, write) if dash and (low or high) else value


def band_label(key: str, display: Display = METRIC) -> str:
    """Write a band of outdoor temperature."""
    band = next((band for band in BANDS if band.key == key), None)
    if band is None:
        return key
    ends = ["" if end is None else str(end) for end in (band.low_c, band.high_c)]
    return _span(*ends, lambda celsius: temp(celsius, display=display, decimals=0))


def band_short(key: str, display: Display = METRIC) -> str:
    """Write a band without its unit, for the heading of a column that has it: `25–30`, `< 25`, `≥ 37`."""
    band = next(band for band in BANDS if band.key == key)
    low, high = (
        None if end is None else temp(end, display=display, decimals=0).split(NO_BREAK)[0]
        for end in (band.low_c, band.high_c)
    )
    return f"{low}–{high}" if low and high else f"≥ {low}" if low else f"< {high}"


def label(facet: str, value: str, display: Display = METRIC) -> str:
    """Write the value of a facet."""
    choices = {"kind": Unit.Kind, "compressor": Unit.Compressor, "obtained": Unit.Obtained}
    try:
        return _written(facet, value, display) if facet not in choices else str(choices[facet](value).label)
    except ValueError:
        return value  # an address may ask for anything


def _written(facet: str, value: str, display: Display) -> str:
    if facet == "outdoor":
        return band_label(value, display)
    if facet == "capacity":
        return _class_label(value, lambda watts: cooling(watts, display=display))
    if facet == "sound":
        return _class_label(value, lambda level: f"{level:g} dB(A)")
    if facet == "price":
        currency, _, rest = value.rpartition(":")
        return _class_label(rest, lambda price: f"{price:g} {currency}".strip())
    return f"{value} V" if facet == "voltage" else value
