"""From an Altair chart to an inline picture in the house's colours, made on this machine."""

from __future__ import annotations

import json
import re
from typing import Any

import altair as alt
import vl_convert
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

# Each ink is drawn in its light value and, inline, follows the page's theme by its token.
INKS = {
    "#15262c": "--chart-ink",
    "#4a5d64": "--chart-soft",
    "#cfd8d8": "--chart-grid",
    "#ffffff": "--chart-ground",
    "#0b5f73": "--accent",
    "#9a4a12": "--claim",
    "#1c6b3f": "--good",
    "#7a5200": "--warn",
    "#9b2226": "--bad",
    "#dcebee": "--accent-soft",
    # series: told apart by lightness and hue under each common kind of colour blindness, and by shape
    "#0c6078": "--series-1",
    "#b85410": "--series-2",
    "#5a3a9c": "--series-3",
    "#7c6b00": "--series-4",
    "#a9275f": "--series-5",
    "#3070b4": "--series-6",
    "#3e7c2d": "--series-7",
    "#5b4a43": "--series-8",
}
INK, SOFT, GRID, GROUND, MEASURED, CLAIMED, GOOD, WARN, BAD, MEASURED_SOFT, *SERIES = INKS
PNG_SCALE = 2.0
FONT = "system-ui, -apple-system, Segoe UI, Roboto, Noto Sans, sans-serif"
OPENING = re.compile(r"<svg\b([^>]*)>")
WORDS_OF_PARTS = re.compile(r' (?:role|aria-[a-z]+)="[^"]*"')
PADDING = {"left": 20, "right": 14, "top": 6, "bottom": 6}  # a browser's letters may be wider than those measured here


def configured(chart: alt.TopLevelMixin) -> alt.TopLevelMixin:
    """Return the chart with the house's axes, inks and type."""
    axis: dict[str, Any] = {
        "labelColor": SOFT,
        "titleColor": INK,
        "gridColor": GRID,
        "domainColor": SOFT,
        "tickColor": SOFT,
        "labelFontSize": 12,
        "titleFontSize": 12.5,
        "titleFontWeight": 600,
        "titlePadding": 8,
    }
    return (
        chart.configure(font=FONT, background="transparent", aria=False, padding=PADDING)
        .configure_view(stroke=None)
        .configure_axis(**axis)
        .configure_axisX(tickCount=7, labelOverlap=True)
        .configure_legend(labelColor=INK, titleColor=INK, labelFontSize=12, titleFontSize=12.5, symbolStrokeWidth=2)
        .configure_header(labelColor=INK, titleColor=INK, labelFontSize=12)
        .configure_title(color=INK, fontSize=14, anchor="start")
    )


def light(chart: alt.TopLevelMixin) -> dict[str, Any]:
    """Return the chart as data for a browser: no more digits than can be seen."""
    text = json.dumps(configured(chart).to_dict())
    return json.loads(text, parse_float=lambda digits: float(f"{float(digits):.5g}"))


def drawn(chart: alt.TopLevelMixin) -> str:
    """Return the chart as an SVG document that stands on its own."""
    return vl_convert.vegalite_to_svg(configured(chart).to_dict())


def inline(chart: alt.TopLevelMixin, *, says: str) -> SafeString:
    """Return the chart as SVG for a page: one image with a text alternative, in the page's colours."""
    bare = WORDS_OF_PARTS.sub("", drawn(chart))  # one image says one sentence; its parts are in the table
    svg = OPENING.sub(lambda found: f'<svg role="img" aria-label="{escape(says)}"{found[1]}>', bare, count=1)
    for ink, token in INKS.items():
        svg = svg.replace(f'"{ink}"', f'"var({token})"')
    return mark_safe(svg)  # noqa: S308  made by our own renderer; text in it is escaped there


def picture(chart: alt.TopLevelMixin) -> bytes:
    """Return the chart as PNG on white, for places that take no SVG."""
    spec = configured(chart).to_dict() | {"background": GROUND}
    return vl_convert.vegalite_to_png(spec, scale=PNG_SCALE)
