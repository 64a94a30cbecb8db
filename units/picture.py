"""What a chart is here: data in the reader's units, a drawing of it, one sentence that says it, a table behind it.

Every chart of every page is a `Drawn`, so that each has the same files to take along, the same words and a table.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import altair as alt
import pandas as pd
from django.core.cache import cache
from django.utils.safestring import SafeString

from units import drawing
from units.quantities import METRIC, Display, number, with_uncertainty
from units.spreadsheet import harmless

A_DAY_S = 24 * 3600
FIT = "fit"
FORMS = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8", "json": "application/json"}


@dataclass(frozen=True)
class Column:
    """A column of the table behind a chart; `u95` names the column with its uncertainty."""

    title: str
    u95: str = ""
    unit: str = ""
    text: bool = False
    decimals: int | None = None
    missing: str = "not measured"

    def cell(self, row: dict[str, Any], key: str) -> str:
        """Write one cell as a reader sees it."""
        value = row[key]
        if self.text:
            return "" if value is None else str(value)
        if value is None or pd.isna(value):
            return self.missing
        if self.decimals is not None:
            return f"{number(value, self.decimals)} {self.unit}".rstrip()
        return with_uncertainty(value, row[self.u95] if self.u95 else None, self.unit)


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A kind of chart. Drawing, words, table and CSV all read the same data, which are in the reader's units.

    `lists` says that the words are all its figures, which who sees reads off. `zooms` says whether the browser can draw
    it larger, `wide` that a phone scrolls it rather than shrink it. `tabled` is what of the data the page's table
    shows, where all of it would be too long; the CSV holds all. `also` is whatever else the drawing depends on.
    """

    name: str
    title: str
    draw: Callable[[pd.DataFrame, Display], alt.TopLevelMixin]
    says: Callable[[pd.DataFrame, Display], str]
    columns: Callable[[Display], dict[str, Column]]
    note: str = ""
    lists: bool = False
    zooms: bool = True
    wide: bool = False
    tabled: Callable[[pd.DataFrame], pd.DataFrame] = lambda data: data
    also: str = ""


@dataclass(frozen=True)
class Drawn:
    """A picture of some rows, ready for a page; `nth` tells it from others of its kind there."""

    picture: Picture
    data: pd.DataFrame
    display: Display = METRIC
    nth: int | None = None
    says: str = field(init=False)

    def __post_init__(self) -> None:
        """Say it once."""
        object.__setattr__(self, "says", self.picture.says(self.data, self.display))

    @property
    def key(self) -> str:
        """Its name on the page and in the address of its files."""
        return self.picture.name if self.nth is None else f"{self.picture.name}-{self.nth}"

    @property
    def files(self) -> tuple[str, ...]:
        """The forms in which a reader may take it along."""
        return ("svg", "png", "csv")

    @property
    def chart(self) -> alt.TopLevelMixin:
        """The chart as a value."""
        return self.picture.draw(self.data, self.display)

    @property
    def svg(self) -> SafeString:
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
                {"spec": drawing.linked(drawing.light(drawing.lively(self.chart))), "inks": drawing.INKS}
            ),
            "csv": lambda: self._stated().to_csv(index=False, float_format="%.6g"),
        }
        made = self._kept(form, makers[form])
        return made if isinstance(made, bytes) else made.encode()

    def _stated(self) -> pd.DataFrame:
        """Return the table's columns as numbers, each with its uncertainty beside it and its unit in its name."""
        columns = self.picture.columns(self.display)
        stated = {
            name: harmless(f"{name} [{column.unit}]" if column.unit else name)
            for key, column in columns.items()
            for name in filter(None, (key, column.u95))
        }
        text = {key: self.data[key].map(harmless) for key, column in columns.items() if column.text}
        return self.data.assign(**text)[list(stated)].rename(columns=stated)

    def _kept(self, form: str, make: Callable[[], Any]) -> Any:
        """Draw once for the same content: the key is a digest of everything that the drawing reads."""
        picture = (self.picture.name, self.picture.title, self.picture.also)
        content = f"{picture}|{form}|{self.display}|{self.says}|{self.data.to_json()}"
        return cache.get_or_set(f"picture:{hashlib.sha256(content.encode()).hexdigest()}", make, A_DAY_S)

    @property
    def table(self) -> list[list[str]]:
        """The cells, row by row."""
        columns, data = self.picture.columns(self.display), self.picture.tabled(self.data)
        rows = data.astype(object).where(data.notna(), None).to_dict("records")
        return [[column.cell(row, key) for key, column in columns.items()] for row in rows]

    @property
    def rows(self) -> list[dict[str, Any]]:
        """The table's rows with the unit and the point that each is of, where it is of one."""
        cells = self.table
        units, points = (
            self.data[name] if name in self.data and len(cells) == len(self.data) else [""] * len(cells)
            for name in ("unit", "point")
        )
        return [
            {"unit": unit, "point": point, "cells": row} for unit, point, row in zip(units, points, cells, strict=True)
        ]

    @property
    def headings(self) -> list[Column]:
        """The columns' headings."""
        return list(self.picture.columns(self.display).values())


def marked(data: pd.DataFrame) -> pd.DataFrame:
    """Return the data with what each mark stands for: row of the table, unit, point; a fitted line is of no row."""
    if "unit" not in data:
        return data
    point = data["point"] if "point" in data else pd.Series("", index=data.index)
    fitted = data["what"].eq(FIT) if "what" in data else pd.Series(False, index=data.index)
    row = pd.Series(range(len(data)), index=data.index).astype(str).mask(fitted, "")
    return data.assign(mark=row + drawing.SPLIT + data["unit"] + drawing.SPLIT + point.mask(fitted, ""))
