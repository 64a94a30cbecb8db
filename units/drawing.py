"""From an Altair chart to an inline picture in the house's colours, made on this machine."""

from __future__ import annotations

import json
import re
from copy import deepcopy
from functools import cache
from typing import Any

import altair as alt
import vl_convert
from altair.utils.schemapi import disable_debug_mode
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
SPLIT = "\N{INVISIBLE SEPARATOR}"  # between the row, the unit and the point that a mark stands for
MARK = re.compile(f' aria-label="([^"{SPLIT}]*){SPLIT}([^"{SPLIT}]*){SPLIT}([^"{SPLIT}]*)"')
SINGLED_OUT = "!length(single) || indexof(single, datum[by]) >= 0"
FAINT = 0.12
WORDS_OF_PARTS = re.compile(r' (?:role|aria-[a-z]+)="[^"]*"')
PADDING = {"left": 20, "right": 14, "top": 6, "bottom": 6}  # a browser's letters may be wider than those measured here

disable_debug_mode()  # no part of a chart is checked while it is put together: that takes longer than drawing it


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


@cache
def _house() -> dict[str, Any]:
    config: dict[str, Any] = configured(alt.Chart({"values": []}).mark_point()).to_dict()["config"]
    return config


def spec_of(chart: alt.TopLevelMixin) -> dict[str, Any]:
    """Return a chart in the house's style as data.

    The tests check every chart against the schema; a reader does not wait for that, nor for copies of the data.
    """
    spec = chart.to_dict(validate=False)
    return spec | {"config": deepcopy(spec.get("config", {}) | _house())}


def light(chart: alt.TopLevelMixin) -> dict[str, Any]:
    """Return the chart as data for a browser: no more digits than can be seen, each data set as a table."""
    text = json.dumps(spec_of(chart))
    spec = json.loads(text, parse_float=lambda digits: float(f"{float(digits):.5g}"))
    return spec | {"datasets": {name: _as_table(rows) for name, rows in spec.get("datasets", {}).items()}}


def _as_table(rows: list[dict[str, Any]]) -> dict[str, list[Any]]:
    """Return rows so that each column is named once, which is half as long; the page's script puts them together."""
    columns = list(rows[0]) if rows else []
    return {"columns": columns, "rows": [[row[column] for column in columns] for row in rows]}


def lively(chart: alt.TopLevelMixin) -> alt.TopLevelMixin:
    """Return the chart for the browser: it zooms and moves where its axes are continuous; panels do so in time."""
    if isinstance(chart, alt.VConcatChart):
        return chart.interactive(bind_y=False)
    return chart.interactive() if isinstance(chart, alt.LayerChart) else chart


def linked(spec: dict[str, Any]) -> dict[str, Any]:
    """Return a chart for the browser in which the page's script singles units or points out by two parameters."""
    params = [{"name": "single", "value": []}, {"name": "by", "value": "unit"}]
    return _fading(spec) | {"params": [*spec.get("params", []), *params]}


def _fading(spec: Any) -> Any:
    """Let every mark that stands for a unit fade while others are singled out."""
    if isinstance(spec, list):
        return [_fading(each) for each in spec]
    if not isinstance(spec, dict):
        return spec
    inner = {key: each if key == "datasets" else _fading(each) for key, each in spec.items()}
    if "description" in inner.get("encoding", {}):
        encoding = {key: each for key, each in inner["encoding"].items() if key != "description"}
        shown = inner["mark"].get("opacity", 1)
        encoding["opacity"] = {"condition": {"test": SINGLED_OUT, "value": shown}, "value": FAINT * shown}
        inner["encoding"] = encoding
    return inner


def drawn(chart: alt.TopLevelMixin, *, marked: bool = False) -> str:
    """Return the chart as an SVG document that stands on its own; `marked` with what each mark stands for."""
    spec = spec_of(chart)
    spec["config"]["aria"] = marked
    return vl_convert.vegalite_to_svg(spec)


def inline(chart: alt.TopLevelMixin, *, says: str) -> SafeString:
    """Return the chart as SVG for a page: one image with a text alternative, in the page's colours.

    A mark keeps the row of the table, the unit and the point it stands for, for the page's script to link.
    """
    named = MARK.sub(r' data-row="\1" data-unit="\2" data-point="\3"', drawn(chart, marked=True))
    bare = WORDS_OF_PARTS.sub("", named)  # one image says one sentence; its parts are in the table
    bare = bare.replace(' data-row=""', "").replace(' data-point=""', "")
    svg = OPENING.sub(lambda found: f'<svg role="img" aria-label="{escape(says)}"{found[1]}>', bare, count=1)
    for ink, token in INKS.items():
        svg = svg.replace(f'"{ink}"', f'"var({token})"')
    return mark_safe(svg)  # noqa: S308  made by our own renderer; text in it is escaped there


def picture(chart: alt.TopLevelMixin) -> bytes:
    """Return the chart as PNG on white, for places that take no SVG."""
    spec = spec_of(chart) | {"background": GROUND}
    return vl_convert.vegalite_to_png(spec, scale=PNG_SCALE)
