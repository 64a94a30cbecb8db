"""The small graphic in a catalogue row: measured ± U as a share of the claim."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.html import format_html
from django.utils.safestring import SafeString

from units.quantities import percent

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


SCALE = Scale()
DRAWING = (
    '<svg class="rg" role="img" aria-label="{says}" viewBox="0 0 {width} {height}" width="{width}" height="{height}">'
    '<path class="rg-axis" d="M4 {middle}H{end}"/><path class="rg-claim" d="M{claim} 3V{foot}"/>'
    '<path class="rg-bar" d="M{low} {middle}H{high}M{low} {top}v8M{high} {top}v8"/>{arrow}'
    '<circle class="rg-{mark}" cx="{at}" cy="{middle}" r="4"/></svg>'
)


def row_graphic(entry: CatalogueEntry, scale: Scale = SCALE) -> SafeString | str:
    """Draw the claim as a line at 1, the measured figure as a mark with its interval; empty without a ratio.

    A full mark is a total capacity; an open one is sensible only, a lower bound, with an arrow towards more.
    """
    if entry.ratio is None or entry.ratio_u95 is None:
        return ""
    sensible = entry.capacity_kind == "sensible"
    middle = scale.height / 2
    low, high, at = (scale.x(entry.ratio + k * entry.ratio_u95) for k in (-1, 1, 0))
    return format_html(
        DRAWING,
        says=f"Measured {percent(entry.ratio, entry.ratio_u95)} of the claim"
        + (", sensible part only" if sensible else ""),
        width=scale.width,
        height=scale.height,
        middle=middle,
        top=middle - 4,
        end=scale.width - 4,
        foot=scale.height - 3,
        claim=scale.x(1.0),
        low=low,
        high=high,
        at=at,
        mark="open" if sensible else "full",
        arrow=format_html('<path class="rg-more" d="M{} {}l6 4-6 4"/>', high + 2, middle - 4) if sensible else "",
    )
