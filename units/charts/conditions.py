"""Capacity and efficiency against the conditions they were measured at."""

from __future__ import annotations

from functools import partial

import altair as alt
import pandas as pd

from reduction.ground.constants import FAHRENHEIT_PER_KELVIN, FAHRENHEIT_ZERO
from units.charts.picture import HEIGHT, MOST_MARKS, WIDTH, Column, Picture, bars, dots, ends, series, span
from units.quantities import Display

LEAST_SPAN = 4.0  # degrees; fewer would make sensors' scatter look like a trend
PLACES = {"outdoor": "Outdoor temperature", "room": "Room temperature"}


def in_scale(celsius: pd.Series, display: Display) -> pd.Series:
    """Return temperatures in the reader's scale."""
    return celsius * FAHRENHEIT_PER_KELVIN + FAHRENHEIT_ZERO if display.temperature == "F" else celsius


def _data(frame: pd.DataFrame, display: Display, *, quantity: str, place: str) -> pd.DataFrame:
    known = frame.dropna(subset=[quantity, f"{place}_temp_c"])
    factor = display.power_factor if quantity == "capacity" else 1.0
    data = known[["unit", "point", "capacity_kind", "limit"]].copy()
    data["series"] = series(known)
    data["outdoor_temp"] = in_scale(known["outdoor_temp_c"], display)
    data["room_temp"] = in_scale(known["room_temp_c"], display)
    data["value"] = known[quantity] * factor
    data["u95"] = known[f"{quantity}_u95"].fillna(0.0) * factor
    data = data.reset_index(drop=True)
    if len(data) > MOST_MARKS:
        data = _thinned(data, place)
    return data


def _thinned(data: pd.DataFrame, place: str) -> pd.DataFrame:
    """Return means over whole degrees of each series, with half the spread of the middle 95 % as the bar."""
    groups = data.groupby(["series", data[f"{place}_temp"].round().rename("degree")], as_index=False)
    lowest, highest = groups["value"].quantile(0.025)["value"], groups["value"].quantile(0.975)["value"]
    means = groups[["outdoor_temp", "room_temp", "value"]].mean()
    return means.assign(
        u95=(highest - lowest) / 2, unit=means["series"], point="mean of many", capacity_kind="mixed", limit=""
    )


def _chart(data: pd.DataFrame, display: Display, *, quantity: str, place: str) -> alt.LayerChart:
    unit = display.power if quantity == "capacity" else "Btu/(W·h)"
    name = "Cooling capacity" if quantity == "capacity" else "EER"
    field = f"{place}_temp"
    x = alt.X(
        f"{field}:Q",
        scale=alt.Scale(domain=span(data[field], least=LEAST_SPAN), nice=False),
        axis=alt.Axis(title=f"{PLACES[place]} ({display.temp_symbol})", tickCount=7),
    )
    y = alt.Y(
        "value:Q",
        scale=alt.Scale(domain=span(ends(data, "value")), nice=False, zero=False),
        title=f"{name} ({unit})",
    )
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("point:N", title="Point"),
        alt.Tooltip("value:Q", title=f"{name} ({unit})", format=",.3~r"),
        alt.Tooltip("u95:Q", title="± (95 %)", format=",.2~r"),
        alt.Tooltip("outdoor_temp:Q", title=f"Outdoors ({display.temp_symbol})", format=".1f"),
        alt.Tooltip("room_temp:Q", title=f"Room ({display.temp_symbol})", format=".1f"),
        alt.Tooltip("limit:N", title="Limit"),
    ]
    return alt.layer(bars(data, x, "value"), dots(data, x, y, tooltip)).properties(width=WIDTH, height=HEIGHT)


def _says(data: pd.DataFrame, display: Display, *, quantity: str, place: str) -> str:
    name = "cooling capacity" if quantity == "capacity" else "EER"
    if data.empty:
        return f"No point has both {name} and {PLACES[place].lower()}."
    lowest, highest = data[f"{place}_temp"].min(), data[f"{place}_temp"].max()
    units = data["unit"].nunique()
    return (
        f"{len(data)} point{'' if len(data) == 1 else 's'} of {units} unit{'' if units == 1 else 's'}, measured at "
        f"{lowest:.0f} to {highest:.0f} {display.temp_symbol} {'outdoors' if place == 'outdoor' else 'in the room'}."
    )


def _columns(display: Display, *, quantity: str) -> dict[str, Column]:
    unit = display.power if quantity == "capacity" else "Btu/(W·h)"
    return {
        "unit": Column("Unit", text=True),
        "point": Column("Point", text=True),
        "outdoor_temp": Column("Outdoors", unit=display.temp_symbol, decimals=1),
        "room_temp": Column("Room", unit=display.temp_symbol, decimals=1),
        "value": Column("Capacity" if quantity == "capacity" else "EER", u95="u95", unit=unit),
        "capacity_kind": Column("Capacity is", text=True),
        "limit": Column("Limit", text=True),
    }


def _picture(quantity: str, place: str) -> Picture:
    name = "Capacity" if quantity == "capacity" else "EER"
    which = {"quantity": quantity, "place": place}
    return Picture(
        name=f"{quantity}-{place}",
        title=f"{name} against {PLACES[place].lower()}",
        frame="points",
        data=partial(_data, **which),
        draw=partial(_chart, **which),
        says=partial(_says, **which),
        columns=partial(_columns, quantity=quantity),
        note="As measured, not corrected. Bars are ± at 95 %; open marks are the sensible part only.",
    )


PICTURES = tuple(_picture(quantity, place) for quantity in ("capacity", "eer") for place in ("outdoor", "room"))


def _load_data(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    known = frame.dropna(subset=["eer", "claimed_capacity"])
    data = known[["unit", "point", "capacity_kind", "limit"]].copy()
    data["series"] = series(known)
    data["load"] = known["capacity"] / known["claimed_capacity"]
    data["value"], data["u95"] = known["eer"], known["eer_u95"].fillna(0.0)
    data["outdoor_temp"] = in_scale(known["outdoor_temp_c"], display)
    return data.reset_index(drop=True)


def _load_chart(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    x = alt.X(
        "load:Q",
        scale=alt.Scale(domain=span(data["load"]), nice=False),
        axis=alt.Axis(format="%", title="Load: measured ÷ claimed capacity (%)"),
    )
    y = alt.Y(
        "value:Q",
        scale=alt.Scale(domain=span(ends(data, "value")), nice=False, zero=False),
        title="EER (Btu/(W·h))",
    )
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("point:N", title="Point"),
        alt.Tooltip("load:Q", title="Load", format=".0%"),
        alt.Tooltip("value:Q", title="EER (Btu/(W·h))", format=".3~r"),
        alt.Tooltip("u95:Q", title="± (95 %)", format=".2~r"),
        alt.Tooltip("outdoor_temp:Q", title=f"Outdoors ({display.temp_symbol})", format=".1f"),
    ]
    return alt.layer(bars(data, x, "value"), dots(data, x, y, tooltip)).properties(width=WIDTH, height=HEIGHT)


EER_LOAD = Picture(
    name="eer-load",
    title="EER against load",
    frame="points",
    data=_load_data,
    draw=_load_chart,
    says=lambda data, display: (
        "No point has both an EER and a claimed capacity to state its load by."
        if data.empty
        else f"{len(data)} points at {data['load'].min():.0%} to {data['load'].max():.0%} of the claimed capacity."
    ),
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "point": Column("Point", text=True),
        "load": Column("Load (share of claim)", decimals=2),
        "value": Column("EER", u95="u95", unit="Btu/(W·h)"),
        "outdoor_temp": Column("Outdoors", unit=display.temp_symbol, decimals=1),
        "limit": Column("Limit", text=True),
    },
    note="Points at different outdoor temperatures stand in one picture: look at the table before reading a trend.",
)
