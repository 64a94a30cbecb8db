"""Figures in prose, bound to their points: `{{ P1 capacity }}` is written out with its ± and follows the point.

`{{ chart NAME }}` and `{{ table NAME }}` on a line of their own set a chart or a table there.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from units import quantities
from units.quantities import Display

REFERENCE = re.compile(r"\{\{\s*([A-Za-z0-9-]+)(?:\s+([A-Za-z0-9_ -]+?))?\s*\}\}")
BTU = Display(power="Btu/h")
FAHRENHEIT = Display(temperature="F")
K95 = 2.0  # conditions, steps and terms carry standard uncertainties; many degrees of freedom: JCGM 100, G.6.6
STANDS_FOR = {"outdoor_temp_c": ("condenser_inlet_temp_c",)}

Point = dict[str, Any]
Writer = Callable[[Point], str]


@dataclass(frozen=True)
class Reference:
    """One `{{ … }}` of a text."""

    written: str
    first: str
    rest: str

    @property
    def kind(self) -> str:
        """Return chart, table or figure."""
        return self.first if self.first in ("chart", "table") else "figure"


def references(text: str) -> list[Reference]:
    """Return every reference of a text, in order.

    >>> [(one.kind, one.first, one.rest) for one in references("so {{ P1 capacity }} and {{chart ratio}}")]
    [('figure', 'P1', 'capacity'), ('chart', 'chart', 'ratio')]
    """
    return [Reference(found[0], found[1], found[2] or "") for found in REFERENCE.finditer(text)]


def watts(value: float | None, u95: float | None = None) -> str:
    """Write a cooling power in W and Btu/h."""
    return f"{quantities.cooling(value, u95)} ({quantities.cooling(value, u95, BTU)})"


def condition(name: str, value: float | None, u95: float | None = None) -> str:
    """Write a measured condition with its ±, a temperature in °C and °F."""
    if value is None or not name.endswith("_c"):
        return quantities.with_uncertainty(value, u95, "%" if name.endswith("percent") else "")
    return f"{quantities.temp(value, u95)} ({quantities.temp(value, u95, FAHRENHEIT)})"


def place(point: Point, name: str) -> str:
    """Write where a point stood with the ± of what was measured: at the condenser's inlet, where it was measured there.

    >>> measured = {"condenser_inlet_temp_c": {"value": 35.2, "u": 0.2}, "outdoor_temp_c": {"value": 33.0, "u": 0.3}}
    >>> place({"outdoor_temp_c": 35.2, "conditions": measured}, "outdoor_temp_c").replace("\xa0", " ")
    '35.2 ± 0.4 °C (95.4 ± 0.7 °F)'
    """
    value, measured = point[name], point["conditions"] or {}
    sources = (measured.get(key) for key in (name, *STANDS_FOR.get(name, ())))
    source = next((one for one in sources if one and one["value"] == value), None)
    return condition(name, value, source and K95 * source["u"])


def _capacity(point: Point) -> str:
    kind = " sensible" if point["capacity_kind"] == "sensible" else ""
    return watts(point["capacity_w"], point["capacity_u95_w"]) + kind


def _verdict(point: Point, quantity: str) -> dict[str, Any] | None:
    return next((found for found in point["verdicts"] if found["quantity"] == quantity), None)


def _share(point: Point) -> str:
    verdict = _verdict(point, "capacity")
    if verdict is None or not verdict["claimed"] or verdict["words"] == "not comparable":
        return "not comparable"
    claimed = verdict["claimed"]
    return quantities.percent(verdict["measured"] / claimed, verdict["measured_u95"] / claimed)


def _rated(point: Point) -> str:
    rating = next(iter(point["ratings"]), None)
    if rating is None:
        return "not corrected"
    return f"{watts(rating['capacity_w'], rating['capacity_u95_w'])} at {rating['condition']}"


FIGURES: dict[str, tuple[str, Writer]] = {
    "capacity": ("cooling capacity as tested", _capacity),
    "sensible": ("sensible part", lambda point: watts(point["sensible_w"], point["sensible_u95_w"])),
    "latent": ("latent part", lambda point: watts(point["latent_w"], point["latent_u95_w"])),
    "power": ("electric power", lambda point: quantities.electric(point["power_w"], point["power_u95_w"])),
    "eer": ("EER", lambda point: quantities.eer(point["eer_btu_per_wh"], point["eer_u95"])),
    "cop": ("COP", lambda point: quantities.cop(point["cop"], point["cop_u95"])),
    "outdoor": ("outdoor temperature", lambda point: place(point, "outdoor_temp_c")),
    "room": ("room temperature", lambda point: place(point, "room_temp_c")),
    "limit": ("what limited the unit", lambda point: point["limit"]["verdict"]),
    "share": ("measured of the claimed capacity", _share),
    "rated": ("capacity brought to the rating condition", _rated),
}


def written_out(reference: Reference, points: dict[str, Point]) -> str | None:
    """Return the figure's text, or None where the point or the figure does not exist."""
    point, figure = points.get(reference.first), FIGURES.get(reference.rest.lower())
    return None if point is None or figure is None else figure[1](point)


def bound(text: str, points: dict[str, Point]) -> dict[str, str]:
    """Return every figure that a text is bound to with what it says now."""
    found = {}
    for reference in references(text):
        if reference.kind == "figure":
            found[reference.written] = written_out(reference, points) or ""
    return found


@dataclass(frozen=True)
class Stale:
    """A figure that reads otherwise than when the text was last saved."""

    reference: str
    before: str
    now: str


def stale(text: str, seen: dict[str, str], points: dict[str, Point]) -> list[Stale]:
    """Return the figures whose points changed since the text was saved."""
    return [
        Stale(written, seen[written], now)
        for written, now in bound(text, points).items()
        if written in seen and seen[written] != now
    ]
