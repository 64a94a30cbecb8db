"""The small graphic in a catalogue row: measured ± U as a share of the claim."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.html import format_html
from django.utils.safestring import SafeString

from units.quantities import METRIC, Display, percent

if TYPE_CHECKING:
    from units.models import CatalogueEntry


@dataclass(frozen=True)
class Scale:
    """The span of measured ÷ claimed that every row shares, and the graphic's size in pixels."""

    low: float = 0.6
    high: float = 1.3
    width: int = 160
    height: int = 26

    def x(self, ratio: float) -> float:
        """Return where a ratio lies; what is outside lies at the edge."""
        inside = min(max(ratio, self.low), self.high)
        return round(4 + (self.width - 8) * (inside - self.low) / (self.high - self.low), 1)


def row_graphic(entry: CatalogueEntry, scale: Scale, display: Display = METRIC) -> SafeString | str:
    """Draw the claim as a line at 1, the measured figure as a mark with its interval; empty without a ratio.

    A full mark is a total capacity; an open one is sensible only, a lower bound, with an arrow towards more.
    """
    if entry.ratio is None or entry.ratio_u95 is None:
        return ""
    sensible = entry.capacity_kind == "sensible"
    says = f"Measured {percent(entry.ratio, entry.ratio_u95)} of the claim" + (
        ", sensible part only" if sensible else ""
    )
    middle = scale.height / 2
    left, right, at = (scale.x(entry.ratio + k * entry.ratio_u95) for k in (-1, 1, 0))
    arrow = format_html('<path class="rg-more" d="M{} {}l6 4-6 4"/>', right + 2, middle - 4) if sensible else ""
    return format_html(
        '<svg class="rg" role="img" aria-label="{}" viewBox="0 0 {} {}" width="{}" height="{}">'
        '<path class="rg-axis" d="M4 {}H{}"/><path class="rg-claim" d="M{} 3V{}"/>'
        '<path class="rg-bar" d="M{} {}H{}M{} {}v8M{} {}v8"/>{}<circle class="rg-{}" cx="{}" cy="{}" r="4"/></svg>',
        says,
        scale.width,
        scale.height,
        scale.width,
        scale.height,
        middle,
        scale.width - 4,
        scale.x(1.0),
        scale.height - 3,
        left,
        middle,
        right,
        left,
        middle - 4,
        right,
        middle - 4,
        arrow,
        "open" if sensible else "full",
        at,
        middle,
    )
