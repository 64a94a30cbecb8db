"""Capacity and efficiency against the conditions they were measured at, with each unit's fitted surface."""

from __future__ import annotations

from functools import partial
from typing import Any

import altair as alt
import pandas as pd

from reduction.ground.constants import FAHRENHEIT_PER_KELVIN, FAHRENHEIT_ZERO
from units.charts.picture import (
    HEIGHT,
    MARK,
    MARKS_A_POINT,
    MOST_MARKS,
    WIDTH,
    FramePicture,
    bars,
    dots,
    ends,
    marks,
    series,
    span,
)
from units.picture import FIT, Column
from units.quantities import Display

LEAST_SPAN = 4.0  # degrees; fewer would make sensors' scatter look like a trend
FIELDS = {"outdoor": "outdoor_temp_c", "room": "room_temp_c", "wet_bulb": "room_wet_bulb_c"}
PLACES = {"outdoor": "Outdoor temperature", "room": "Room temperature", "wet_bulb": "Room wet bulb"}
WHERE = {"outdoor": "outdoors", "room": "in the room", "wet_bulb": "wet bulb in the room"}
HELD = {
    "outdoor": "room temperature and humidity",
    "room": "relative humidity and outdoor temperature",
    "wet_bulb": "room and outdoor temperature",
}
MEANS = "mean of many"
EER_UNIT = "Btu/(W·h)"
CLEAREST_BAND = 0.2  # opacity of the band of one unit alone; of many, each is fainter


def in_scale(celsius: pd.Series, display: Display) -> pd.Series:
    """Return temperatures in the reader's scale."""
    return celsius * FAHRENHEIT_PER_KELVIN + FAHRENHEIT_ZERO if display.temperature == "F" else celsius


def _data(frame: pd.DataFrame, display: Display, *, quantity: str, place: str) -> pd.DataFrame:
    """Return the measured points, means of them where they are too many, and after them the fitted lines."""
    known = frame.dropna(subset=[quantity, FIELDS[place]]).reset_index(drop=True)
    factor = display.power_factor if quantity == "capacity" else 1.0
    data = known[["unit", "what", "point", "capacity_kind", "limit"]].copy()
    data["series"] = series(known)
    for name, field in FIELDS.items():
        data[f"{name}_temp"] = in_scale(known[field], display)
    data["value"] = known[quantity] * factor
    data["u95"] = known[f"{quantity}_u95"].fillna(0.0) * factor
    fitted, measured = data[data["what"] == FIT], data[data["what"] != FIT]
    if MARKS_A_POINT * len(measured) > MOST_MARKS:
        measured = _thinned(measured, place)
    return pd.concat([measured, fitted], ignore_index=True)


def _thinned(data: pd.DataFrame, place: str) -> pd.DataFrame:
    """Return means over whole degrees of each series, with half the spread of the middle 95 % as the bar."""
    groups = data.groupby(["series", data[f"{place}_temp"].round().rename("degree")], as_index=False)
    lowest, highest = groups["value"].quantile(0.025)["value"], groups["value"].quantile(0.975)["value"]
    means = groups[[*(f"{name}_temp" for name in PLACES), "value"]].mean()
    return means.assign(
        u95=(highest - lowest) / 2, unit=means["series"], point=MEANS, capacity_kind="mixed", limit="",
        what=MEANS,
    )[data.columns]  # fmt: skip


def _chart(data: pd.DataFrame, display: Display, *, quantity: str, place: str) -> alt.LayerChart:
    name, unit = ("Cooling capacity", display.power) if quantity == "capacity" else ("EER", EER_UNIT)
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
        *(alt.Tooltip(f"{key}_temp:Q", title=f"{title} ({display.temp_symbol})", format=".1f")
          for key, title in PLACES.items()),
        alt.Tooltip("limit:N", title="Limit"),
    ]  # fmt: skip
    fitted, measured = data[data["what"] == FIT], data[data["what"] != FIT]
    layers = [bars(measured, x, "value"), dots(measured, x, y, tooltip)]
    if not fitted.empty:
        layers = [*_lines(fitted, x, y, marks(measured)), *layers]
    return alt.layer(*layers).properties(width=WIDTH, height=HEIGHT)


def _lines(fitted: pd.DataFrame, x: alt.X, y: alt.Y, colour: dict[str, Any]) -> list[alt.Chart]:
    """Return each unit's fitted line over its 95 % band, in the colour of its points."""
    units = fitted["unit"].nunique()
    base = alt.Chart(fitted).transform_calculate(low="datum.value - datum.u95", high="datum.value + datum.u95")
    band = base.mark_area(opacity=1, fillOpacity=CLEAREST_BAND / units**0.5, interpolate="monotone").encode(
        x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"), fill=colour["fill"], detail="unit:N", description=MARK
    )
    line = base.mark_line(strokeWidth=1.8, interpolate="monotone").encode(
        x=x, y=y, stroke=colour["stroke"], detail="unit:N", description=MARK
    )
    return [band, line]


def _says(data: pd.DataFrame, display: Display, *, quantity: str, place: str) -> str:
    measured, fitted = data[data["what"] != FIT], data[data["what"] == FIT]
    lowest, highest = measured[f"{place}_temp"].min(), measured[f"{place}_temp"].max()
    units, lines = measured["unit"].nunique(), fitted["unit"].nunique()
    drawn = f"{len(measured)} point{'' if len(measured) == 1 else 's'}{f' of {units} units' if units > 1 else ''}"
    if (measured["what"] == MEANS).any():
        drawn, units = f"Means of many points over whole degrees, {len(measured)} in all", lines + 1
    spread = f"{lowest:.0f} to {highest:.0f}" if f"{lowest:.0f}" != f"{highest:.0f}" else f"{lowest:.0f}"
    said = f"{drawn}, measured at {spread} {display.temp_symbol} {WHERE[place]}"
    if not lines:
        return f"{said}; nothing was tested widely enough for a fitted line."
    return f"{said}, with {_fits(lines, units)}."


def _fits(lines: int, units: int) -> str:
    if lines == 1:
        return "a fitted line" if units == 1 else "a fitted line for one of them"
    return f"a fitted line for {'each' if lines == units else lines} of them"


def _columns(display: Display, *, quantity: str) -> dict[str, Column]:
    unit = display.power if quantity == "capacity" else EER_UNIT
    return {
        "unit": Column("Unit", text=True),
        "point": Column("Point", text=True),
        "outdoor_temp": Column("Outdoors", unit=display.temp_symbol, decimals=1),
        "room_temp": Column("Room", unit=display.temp_symbol, decimals=1),
        "wet_bulb_temp": Column("Room wet bulb", unit=display.temp_symbol, decimals=1),
        "value": Column("Capacity" if quantity == "capacity" else "EER", u95="u95", unit=unit),
        "capacity_kind": Column("Capacity is", text=True),
        "limit": Column("Limit", text=True),
    }


def _picture(quantity: str, place: str) -> FramePicture:
    name = "Capacity" if quantity == "capacity" else "EER"
    which = {"quantity": quantity, "place": place}
    return FramePicture(
        name=f"{quantity}-{place.replace('_', '-')}",
        title=f"{name} against {PLACES[place].lower()}",
        frame=place,
        data=partial(_data, **which),
        draw=partial(_chart, **which),
        says=partial(_says, **which),
        columns=partial(_columns, quantity=quantity),
        needs=(quantity, FIELDS[place]),
        note="Marks: as measured, ± at 95 %; open ones are the sensible part only. Lines: fits of the total to a "
        f"unit's points at full speed, led by published maps, at the median {HELD[place]} of those points, with 95 % "
        "bands, only as far as it was tested.",
    )


PICTURES = tuple(_picture(quantity, place) for place in PLACES for quantity in ("capacity", "eer"))
