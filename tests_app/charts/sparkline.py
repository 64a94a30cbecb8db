"""A channel in small, and its level in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString

from units.quantities import number

WIDTH, HEIGHT, MARGIN = 180, 40, 2


def sparkline(picture: Sequence[Sequence[float]], name: str, column: Mapping[str, Any]) -> SafeString:
    """Return a channel in small: the band from lowest to highest reading in each stretch of time."""
    if not picture:
        return format_html('<span class="muted">no readings</span>')
    low = min(point[1] for point in picture)
    span = max(point[2] for point in picture) - low or 1.0

    def place(value: float) -> float:
        return round(HEIGHT - MARGIN - (value - low) / span * (HEIGHT - 2 * MARGIN), 1)

    over = [f"{x * WIDTH:.1f},{place(high)}" for x, _, high in picture]
    under = [f"{x * WIDTH:.1f},{place(lowest)}" for x, lowest, _ in reversed(picture)]
    return format_html(
        '<svg class="spark" role="img" aria-label="{}" viewBox="0 0 {} {}" width="{}" height="{}" '
        'preserveAspectRatio="none"><polygon points="{}"/></svg>',
        f"{name} over time, {level(column)}",
        WIDTH,
        HEIGHT,
        WIDTH,
        HEIGHT,
        " ".join(over + under),
    )


def level(column: Mapping[str, Any]) -> str:
    """Return a channel's lowest and highest reading in words: `21.3 to 26.9 °C`."""
    if column["low"] is None:
        return "no readings"
    span = column["high"] - column["low"]
    decimals = 0 if span >= 100 else 1 if span >= 1 else 2
    return f"{number(column['low'], decimals)} to {number(column['high'], decimals)} {column['quantity_unit']}".strip()
