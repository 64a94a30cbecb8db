"""What the charts of compared units share: a picture of a frame, colours and shapes of a series, marks, spans."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from units import drawing
from units.picture import Picture
from units.quantities import Display

MOST_SERIES = 8  # beyond this, colour and shape stand for the kind of unit, not for the unit
MOST_MARKS = 2000
MARKS_A_POINT = 2  # a dot and its bar
SHAPES = ["circle", "square", "triangle-up", "diamond", "triangle-down", "cross", "triangle-right", "triangle-left"]
WIDTH, HEIGHT = 520, 300
PER_CENT = "format(datum.value * 100, ',~r')"  # a label of an axis whose title says (%)
MARK = alt.Description("mark:N")  # what a mark stands for; `drawing.inline` hands it to the page's script


@dataclass(frozen=True, kw_only=True)
class FramePicture(Picture):
    """A picture of one of a comparison's frames. `data` brings its SI rows to the reader's units.

    `needs` are the columns of the frame without which a row has nothing to draw.
    """

    frame: str
    data: Callable[[pd.DataFrame, Display], pd.DataFrame]
    needs: tuple[str, ...] = ()


def series(data: pd.DataFrame) -> pd.Series:
    """Return what colour and shape stand for: the unit, or its kind where there are too many units."""
    return data["unit"] if data["unit"].nunique() <= MOST_SERIES else data["kind"]


def marks(data: pd.DataFrame) -> dict[str, Any]:
    """Return the encodings of a series by colour and by shape, with one legend."""
    names = sorted(data["series"].unique())
    colours = [drawing.SERIES[i % len(drawing.SERIES)] for i in range(len(names))]
    shapes = [SHAPES[i % len(SHAPES)] for i in range(len(names))]
    legend = (
        alt.Legend(orient="bottom", columns=2, columnPadding=28, title=None, labelLimit=220, symbolOpacity=1)
        if len(names) > 1
        else None
    )
    return {
        "stroke": alt.Stroke("series:N", scale=alt.Scale(domain=names, range=colours), legend=legend),
        "fill": alt.Fill("series:N", scale=alt.Scale(domain=names, range=colours), legend=legend),
        "shape": alt.Shape("series:N", scale=alt.Scale(domain=names, range=shapes), legend=legend),
    }


def dots(data: pd.DataFrame, x: alt.X, y: alt.Y, tooltip: list[Any]) -> alt.Chart:
    """Return the marks: full for a total capacity, open for the sensible part."""
    full = alt.condition("datum.capacity_kind == 'sensible'", alt.value(0.0), alt.value(0.9))
    base = alt.Chart(data).mark_point(size=75, strokeWidth=1.8, opacity=1)
    return base.encode(x=x, y=y, fillOpacity=full, tooltip=tooltip, description=MARK, **marks(data))


def bars(data: pd.DataFrame, x: alt.X, value: str) -> alt.Chart:
    """Return vertical error bars: value ± u95, in the colour of the series."""
    return (
        alt.Chart(data)
        .transform_calculate(low=f"datum.{value} - datum.u95", high=f"datum.{value} + datum.u95")
        .mark_rule(strokeWidth=1.4)
        .encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"), stroke=marks(data)["stroke"], description=MARK)
    )


def ends(data: pd.DataFrame, value: str) -> list[float]:
    """Return both ends of every interval, for the domain of a scale."""
    return [*(data[value] - data["u95"]), *(data[value] + data["u95"])]


def span(values: pd.Series | list[float], *, margin: float = 0.06, least: float = 0.0) -> list[float]:
    """Return a scale's domain that holds the values with some room, at least `least` wide and never of zero width."""
    low, high = float(min(values)), float(max(values))
    room = max((high - low) * margin, (least - (high - low)) / 2) or max(abs(high) * margin, 1.0)
    return [low - room, high + room]
