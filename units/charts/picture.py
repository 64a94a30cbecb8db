"""What a chart is here: data in the reader's units, a drawing of it, one sentence that says it, a table behind it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import altair as alt
import pandas as pd
from django.core.cache import cache

from units import drawing
from units.quantities import Display, number, with_uncertainty
from units.spreadsheet import harmless

MOST_SERIES = 8  # beyond this, colour and shape stand for the kind of unit, not for the unit
MOST_MARKS = 2000
MARKS_A_POINT = 2  # a dot and its bar
SHAPES = ["circle", "square", "triangle-up", "diamond", "triangle-down", "cross", "triangle-right", "triangle-left"]
WIDTH, HEIGHT = 520, 300
A_DAY_S = 24 * 3600
FIT = "fit"
MARK = alt.Description("mark:N")  # what a mark stands for; `drawing.inline` hands it to the page's script


@dataclass(frozen=True)
class Column:
    """A column of the table behind a chart; `u95` names the column with its uncertainty."""

    title: str
    u95: str = ""
    unit: str = ""
    text: bool = False
    decimals: int | None = None

    def cell(self, row: dict[str, Any], key: str) -> str:
        """Write one cell as a reader sees it."""
        value = row[key]
        if self.text:
            return "" if value is None else str(value)
        if value is None or pd.isna(value):
            return "not measured"
        if self.decimals is not None:
            return f"{number(value, self.decimals)} {self.unit}".rstrip()
        return with_uncertainty(value, row[self.u95] if self.u95 else None, self.unit)


@dataclass(frozen=True)
class Picture:
    """A kind of chart. `data` brings SI rows to the reader's units; the drawing, table and CSV all read its answer.

    `needs` are the columns of the frame without which a row has nothing to draw.
    """

    name: str
    title: str
    frame: str
    data: Callable[[pd.DataFrame, Display], pd.DataFrame]
    draw: Callable[[pd.DataFrame, Display], alt.TopLevelMixin]
    says: Callable[[pd.DataFrame, Display], str]
    columns: Callable[[Display], dict[str, Column]]
    needs: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Drawn:
    """A picture of some rows, ready for a page."""

    picture: Picture
    data: pd.DataFrame
    display: Display
    says: str = field(init=False)

    def __post_init__(self) -> None:
        """Say it once."""
        object.__setattr__(self, "says", self.picture.says(self.data, self.display))

    @property
    def chart(self) -> alt.TopLevelMixin:
        """The chart as a value."""
        return self.picture.draw(self.data, self.display)

    @property
    def svg(self) -> str:
        """The chart inline, in the page's colours."""
        says = f"{self.picture.title}. {self.says}"
        return self._kept(
            "inline", lambda: drawing.inline(self.picture.draw(marked(self.data), self.display), says=says)
        )

    def file(self, form: str) -> bytes:
        """Return the chart or its data as a file: svg, png, csv, or json for the interactive one."""
        makers: dict[str, Callable[[], str | bytes]] = {
            "svg": lambda: drawing.drawn(self.chart.properties(background=drawing.GROUND)),
            "png": lambda: drawing.picture(self.chart),
            "json": lambda: json.dumps(
                {"spec": drawing.linked(drawing.light(lively(self.chart))), "inks": drawing.INKS}
            ),
            "csv": lambda: self._stated().to_csv(index=False, float_format="%.6g"),
        }
        made = self._kept(form, makers[form])
        return made if isinstance(made, bytes) else made.encode()

    def _stated(self) -> pd.DataFrame:
        """Return the table's columns as numbers, each with its uncertainty beside it and its unit in its name."""
        columns = self.picture.columns(self.display)
        stated = {
            name: f"{name} [{column.unit}]" if column.unit else name
            for key, column in columns.items()
            for name in filter(None, (key, column.u95))
        }
        text = {key: self.data[key].map(harmless) for key, column in columns.items() if column.text}
        return self.data.assign(**text)[list(stated)].rename(columns=stated)

    def _kept(self, form: str, make: Callable[[], Any]) -> Any:
        """Draw once for the same content: the key is a digest of everything that the drawing reads."""
        content = f"{self.picture.name}|{form}|{self.display}|{self.says}|{self.data.to_json()}"
        return cache.get_or_set(f"picture:{hashlib.sha256(content.encode()).hexdigest()}", make, A_DAY_S)

    @property
    def table(self) -> list[list[str]]:
        """The cells, row by row."""
        columns = self.picture.columns(self.display)
        rows = self.data.astype(object).where(self.data.notna(), None).to_dict("records")
        return [[column.cell(row, key) for key, column in columns.items()] for row in rows]

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The table's rows with the unit and the point that each is of."""
        points = self.data["point"] if "point" in self.data else [""] * len(self.data)
        return [
            {"unit": unit, "point": point, "cells": cells}
            for unit, point, cells in zip(self.data["unit"], points, self.table, strict=True)
        ]

    @property
    def headings(self) -> list[Column]:
        """The columns' headings."""
        return list(self.picture.columns(self.display).values())


def marked(data: pd.DataFrame) -> pd.DataFrame:
    """Return the data with what each mark stands for: row of the table, unit, point; a fitted line is of no row."""
    point = data["point"] if "point" in data else pd.Series("", index=data.index)
    fitted = data["what"].eq(FIT) if "what" in data else pd.Series(False, index=data.index)
    row = pd.Series(range(len(data)), index=data.index).astype(str).mask(fitted, "")
    return data.assign(mark=row + drawing.SPLIT + data["unit"] + drawing.SPLIT + point.mask(fitted, ""))


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


def lively(chart: alt.TopLevelMixin) -> alt.TopLevelMixin:
    """Return the chart for the browser: it zooms and moves where its axes are continuous."""
    return chart.interactive() if isinstance(chart, alt.LayerChart) else chart


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
