"""Efficiency against load."""

from __future__ import annotations

import altair as alt
import pandas as pd

from units.charts.conditions import EER_UNIT, in_scale
from units.charts.picture import (
    HEIGHT,
    MARKS_A_POINT,
    MOST_MARKS,
    PER_CENT,
    WIDTH,
    FramePicture,
    bars,
    dots,
    ends,
    series,
    span,
)
from units.picture import Column
from units.quantities import Display, percent

STEP = 0.05  # of the claim, over which marks are averaged where there are too many


def _data(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    known = frame.dropna(subset=["eer", "claimed_capacity"])
    data = known[["unit", "point", "capacity_kind", "limit"]].copy()
    data["series"] = series(known)
    data["load"] = known["capacity"] / known["claimed_capacity"]
    data["value"], data["u95"] = known["eer"], known["eer_u95"].fillna(0.0)
    data["outdoor_temp"] = in_scale(known["outdoor_temp_c"], display)
    data = data.reset_index(drop=True)
    return _thinned(data) if MARKS_A_POINT * len(data) > MOST_MARKS else data


def _thinned(data: pd.DataFrame) -> pd.DataFrame:
    """Return means over steps of load of each series, with half the spread of the middle 95 % as the bar."""
    groups = data.groupby(["series", (data["load"] / STEP).round().rename("step")], as_index=False)
    lowest, highest = groups["value"].quantile(0.025)["value"], groups["value"].quantile(0.975)["value"]
    means = groups[["load", "value", "outdoor_temp"]].mean()
    return means.assign(
        u95=(highest - lowest) / 2, unit=means["series"], point="mean of many", capacity_kind="mixed", limit=""
    )[data.columns]


def _chart(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    x = alt.X(
        "load:Q",
        scale=alt.Scale(domain=span(data["load"], least=0.1), nice=False),
        axis=alt.Axis(labelExpr=PER_CENT, title="Load: measured ÷ claimed capacity (%)"),
    )
    y = alt.Y(
        "value:Q",
        scale=alt.Scale(domain=span(ends(data, "value")), nice=False, zero=False),
        title=f"EER ({EER_UNIT})",
    )
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("point:N", title="Point"),
        alt.Tooltip("load:Q", title="Load", format=".0%"),
        alt.Tooltip("value:Q", title=f"EER ({EER_UNIT})", format=".3~r"),
        alt.Tooltip("u95:Q", title="± (95 %)", format=".2~r"),
        alt.Tooltip("outdoor_temp:Q", title=f"Outdoors ({display.temp_symbol})", format=".1f"),
    ]
    return alt.layer(bars(data, x, "value"), dots(data, x, y, tooltip)).properties(width=WIDTH, height=HEIGHT)


EER_LOAD = FramePicture(
    name="eer-load",
    title="EER against load",
    frame="points",
    data=_data,
    draw=_chart,
    says=lambda data, display: (
        f"{len(data)} point{'' if len(data) == 1 else 's'} at {percent(data['load'].min())} to "
        f"{percent(data['load'].max())} of the claimed capacity."
    ),
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "point": Column("Point", text=True),
        "load": Column("Load (share of claim)", decimals=2),
        "value": Column("EER", u95="u95", unit=EER_UNIT),
        "outdoor_temp": Column("Outdoors", unit=display.temp_symbol, decimals=1),
        "limit": Column("Limit", text=True),
    },
    needs=("eer", "claimed_capacity"),
    note="Points at different outdoor temperatures stand in one picture: look at the table before reading a trend.",
)
