"""Pictures of a session: each channel in small, the timeline with its windows, the parts of a result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd
from django.utils.html import format_html
from django.utils.safestring import SafeString

from reduction import session as doc
from tests_app.models import Window
from units import drawing
from units.quantities import METRIC, Display, number

WIDTH, HEIGHT, MARGIN = 180, 40, 2
CHART_WIDTH, PANEL_HEIGHT = 800, 170
ROOM_FOR_TYPE = {"left": 8, "right": 40, "top": 8, "bottom": 8}  # a browser's letters may be wider than the renderer's
MOST_PER_LINE = 360
TABLE_ROWS = 48
PANELS = (
    ("Room", ("room_temp", "return_temp")),
    ("Other temperatures", ("_temp", "_wet_bulb")),
    ("Power", ("_power", "_energy")),
    ("Humidity", ("_rh",)),
)
TEMPERATURES = ("Room", "Other temperatures")
LEAST_SPAN_K = 2.0  # of the room's own panel: a room that stands still is drawn so, not as its sensors' noise
SHADES = drawing.SERIES
DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3]]


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


# --- the timeline ----------------------------------------------------------------------------------------


def timeline(frame: pd.DataFrame, windows: Sequence[Window], zone: str, display: Display) -> SafeString:
    """Return the channels on one clock, a panel a quantity, with the windows as bands."""
    long = _long(_local(frame, zone), display)
    bands = _bands(windows, zone)
    names = [name for name, _ in PANELS if (long.panel == name).any()]
    panels = [_panel(long[long.panel == n], bands, n, zone, display, is_last=n == names[-1]) for n in names]
    if not panels:
        return format_html('<p class="muted">{}</p>', "No channel to draw yet.")
    chart = alt.vconcat(*panels, spacing=14, padding=ROOM_FOR_TYPE).resolve_scale(
        x="shared", color="independent", strokeDash="independent"
    )
    return drawing.inline(chart, says=_timeline_says(frame, windows, zone))


def _timeline_says(frame: pd.DataFrame, windows: Sequence[Window], zone: str) -> str:
    names = ", ".join(name for _, name in map(_parts, frame.columns))
    taken = sum(window.accepted for window in windows)
    first, last = (stamp.tz_convert(zone).strftime("%Y-%m-%d %H:%M") for stamp in (frame.index[0], frame.index[-1]))
    return f"Timeline from {first} to {last} {zone} of {names}; {len(windows)} windows, {taken} of them accepted."


def _parts(column: str) -> tuple[str, str]:
    role, _, name = column.partition("|")
    return role, name


def _local(frame: pd.DataFrame, zone: str) -> pd.DataFrame:
    """Return at most so many rows as can be drawn, on wall-clock time; the picture's scale takes it for UTC."""
    width = -(-len(frame) // MOST_PER_LINE)
    drawn = frame.groupby(pd.RangeIndex(len(frame)) // width).mean()
    drawn.index = frame.index[::width].tz_convert(ZoneInfo(zone)).tz_localize(None)
    return drawn


def _long(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    tables = [
        pd.DataFrame(
            {
                "time": frame.index,
                "value": _shown(frame[column], panel, display),
                "channel": _drawn_as(role, name),
                "panel": panel,
            }
        )
        for column in frame.columns
        for role, name in [_parts(column)]
        for panel in [_panel_of(role)]
        if panel
    ]
    long = pd.concat(tables) if tables else pd.DataFrame(columns=["time", "value", "channel", "panel"])
    return long.assign(time=pd.to_datetime(long.time).dt.strftime("%Y-%m-%dT%H:%M:%SZ"))


def _panel_of(role: str) -> str | None:
    """Return the panel a role is drawn in: the first that takes it."""
    return next((panel for panel, endings in PANELS if role.endswith(endings)), None)


def _drawn_as(role: str, name: str) -> str:
    """Return a channel's name in the legend; what counts energy is drawn as the power that its steps mean."""
    return f"{name}, as power" if role.endswith("_energy") else name


def _shown(values: pd.Series, panel: str, display: Display) -> pd.Series:
    return values * 1.8 + 32 if panel in TEMPERATURES and display.temperature == "F" else values


def _bands(windows: Sequence[Window], zone: str) -> pd.DataFrame:
    def wall(instant: pd.Timestamp) -> str:
        return pd.Timestamp(instant).tz_convert(zone).strftime("%Y-%m-%dT%H:%M:%SZ")

    shown = [window for window in windows if window.is_drawn]
    rows = [(window.label, wall(window.start), wall(window.end), window.accepted) for window in shown]
    return pd.DataFrame(rows, columns=["label", "start", "end", "accepted"])


def _panel(
    long: pd.DataFrame, bands: pd.DataFrame, name: str, zone: str, display: Display, is_last: bool
) -> alt.LayerChart:
    symbol = display.temp_symbol if name in TEMPERATURES else {"Power": "W", "Humidity": "%"}[name]
    names = list(dict.fromkeys(long.channel))
    legend = {"title": None, "columns": 1, "labelLimit": 150, "symbolSize": 220}
    shades = [SHADES[i % len(SHADES)] for i in range(len(names))]
    dashes = [DASHES[(i // len(SHADES)) % len(DASHES)] for i in range(len(names))]
    x = alt.X("time:T").title(f"Time ({zone})" if is_last else None).scale(type="utc").axis(format="%H:%M")
    line = alt.Chart(long).mark_line(strokeWidth=1.4, interpolate="step-after" if name == "Power" else "linear")
    lines = line.encode(
        x,
        alt.Y("value:Q").title(f"{name} ({symbol})").scale(_scale(long.value, name, display)).axis(minExtent=44),
        alt.Color("channel:N").scale(domain=names, range=shades).legend(**legend),
        alt.StrokeDash("channel:N").scale(domain=names, range=dashes).legend(**legend),
    )
    if bands.empty:
        return alt.layer(lines).properties(width=CHART_WIDTH, height=PANEL_HEIGHT)
    span = alt.Chart(bands).encode(alt.X("start:T").scale(type="utc"), alt.X2("end:T"))
    fill = span.mark_rect(color=drawing.MEASURED_SOFT).encode(
        alt.Opacity("accepted:N").scale(domain=[True, False], range=[1.0, 0.4]).legend(None)
    )
    edge = span.mark_rect(fillOpacity=0, stroke=drawing.SOFT, strokeDash=[4, 3])
    return alt.layer(fill, edge, lines).properties(width=CHART_WIDTH, height=PANEL_HEIGHT)


def _scale(values: pd.Series, panel: str, display: Display) -> alt.Scale:
    """Return the scale of a panel: power from zero, the room over at least two kelvin."""
    if panel != "Room" or values.isna().all():
        return alt.Scale(zero=panel == "Power")
    low, high = float(values.min()), float(values.max())
    missing = max(0.0, LEAST_SPAN_K * (1.8 if display.temperature == "F" else 1.0) - (high - low)) / 2
    return alt.Scale(domain=[low - missing, high + missing], nice=True)


def span_table(frame: pd.DataFrame, zone: str) -> dict[str, Any]:
    """Return the same as a table: means over equal spans."""
    width = max(1, -(-len(frame) // TABLE_ROWS))
    means = frame.groupby(pd.RangeIndex(len(frame)) // width).mean()
    starts = frame.index[::width].tz_convert(ZoneInfo(zone))
    rows = [
        (start.strftime("%Y-%m-%d %H:%M"), [number(value, 1) if pd.notna(value) else "no data" for value in values])
        for start, values in zip(starts, means.to_numpy(), strict=True)
    ]
    return {"names": [name for _, name in map(_parts, frame.columns)], "rows": rows}


# --- the parts of a result -------------------------------------------------------------------------------


def terms(point: doc.Point, display: Display = METRIC) -> SafeString:
    """Return the terms of the heat balance as bars with their uncertainty; they sum to the capacity."""
    rows = [(term.name, term.value_w, 2 * term.u_w) for term in point.terms]
    data = pd.DataFrame([*rows, ("Capacity", point.capacity_w, point.capacity_u95_w)], columns=["name", "value", "u95"])
    data = data.assign(value=data.value * display.power_factor, u95=data.u95 * display.power_factor)
    data = data.assign(low=data.value - data.u95, high=data.value + data.u95, is_sum=data.name == "Capacity")
    y = alt.Y("name:N").sort(None).title(None).axis(labelLimit=250, minExtent=250)
    bars = (
        alt.Chart(data)
        .mark_bar(height={"band": 0.62})
        .encode(
            alt.X("value:Q").title(f"Heat into the room, and the sum the unit removed ({display.power})"),
            y,
            alt.Color("is_sum:N").scale(domain=[False, True], range=[drawing.SOFT, drawing.MEASURED]).legend(None),
        )
    )
    errors = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.INK).encode(alt.X("low:Q"), alt.X2("high:Q"), y)
    says = "Terms of the heat balance: " + "; ".join(
        f"{row.name_} {number(row.value)} {display.power} plus or minus {number(row.u95)} {display.power}"
        for row in data.rename(columns={"name": "name_"}).itertuples()
    )
    return drawing.inline(alt.layer(bars, errors).properties(width=560, height=30 * len(data)), says=says)


def _spoken(watts: float, display: Display) -> str:
    return f"{number(watts * display.power_factor)} {display.power}"


def windows_compared(points: Sequence[doc.Point], display: Display = METRIC) -> SafeString:
    """Return the capacity of each window with its error bar."""
    data = pd.DataFrame(
        [(p.label, p.capacity_w, p.capacity_w - p.capacity_u95_w, p.capacity_w + p.capacity_u95_w) for p in points],
        columns=["label", "value", "low", "high"],
    )
    data[["value", "low", "high"]] *= display.power_factor
    x = alt.X("label:N").sort(None).title("Window").axis(labelAngle=0)
    errors = (
        alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(x, alt.Y("low:Q"), alt.Y2("high:Q"))
    )
    dots = (
        alt.Chart(data)
        .mark_point(filled=True, size=70, color=drawing.MEASURED)
        .encode(x, alt.Y("value:Q").title(f"Capacity ± U95 ({display.power})").scale(zero=False))
    )
    says = "Capacity by window: " + "; ".join(
        f"{p.label} {_spoken(p.capacity_w, display)} plus or minus {_spoken(p.capacity_u95_w, display)}" for p in points
    )
    return drawing.inline(alt.layer(errors, dots).properties(width=max(520, 90 * len(points)), height=220), says=says)


def shortfall(point: doc.Point, display: Display = METRIC) -> SafeString:
    """Return the way from claim to measured as a waterfall, measured and modelled steps apart."""
    measured = doc.Step(name="Measured", value_w=point.capacity_w, u_w=point.capacity_u_w, kind="measured", because="")
    rows, level_w = [], 0.0
    for step in (*point.shortfall, measured):
        start = 0.0 if step.kind == "claim" or step is measured else level_w
        level_w = start + step.value_w
        ends = sorted((start, level_w))
        rows.append((step.name, *ends, level_w - 2 * step.u_w, level_w + 2 * step.u_w, step.kind))
    data = pd.DataFrame(rows, columns=["name", "from_power", "to_power", "low", "high", "kind"])
    data[["from_power", "to_power", "low", "high"]] *= display.power_factor
    inks = {"claim": drawing.CLAIMED, "measured": drawing.MEASURED, "modelled": drawing.SOFT, "remainder": drawing.WARN}
    y = alt.Y("name:N").sort(None).title(None).axis(labelLimit=250, minExtent=250)
    bars = (
        alt.Chart(data)
        .mark_bar(height={"band": 0.62})
        .encode(
            alt.X("from_power:Q").title(f"Capacity ({display.power})"),
            alt.X2("to_power:Q"),
            y,
            alt.Color("kind:N").scale(domain=list(inks), range=list(inks.values())).legend(title=None),
        )
    )
    errors = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.INK).encode(alt.X("low:Q"), alt.X2("high:Q"), y)
    said = "; ".join(f"{step.name} {_spoken(step.value_w, display)}" for step in (*point.shortfall, measured))
    picture = alt.layer(bars, errors).properties(width=520, height=32 * len(data), padding=ROOM_FOR_TYPE)
    return drawing.inline(picture, says=f"From the claim to the measured capacity: {said}")


def room_fit(fit: doc.RoomFit) -> SafeString:
    """Return the heat that was given in a characterisation run and what the fitted room makes of it."""
    names = ["given", "fitted room"]
    data = pd.DataFrame(fit.course_w, columns=["hours", *names]).melt("hours", var_name="what", value_name="power_w")
    chart = (
        alt.Chart(data)
        .mark_line(strokeWidth=1.6)
        .encode(
            alt.X("hours:Q").title("Hours since the start"),
            alt.Y("power_w:Q").title("Heat into the room (W)"),
            alt.Color("what:N").scale(domain=names, range=[drawing.SOFT, drawing.MEASURED]).title(None),
            alt.StrokeDash("what:N").scale(domain=names, range=[[1, 0], [6, 3]]).title(None),
        )
    )
    given, made = (data[data.what == name].power_w for name in names)
    apart = float((given.reset_index(drop=True) - made.reset_index(drop=True)).pow(2).mean()) ** 0.5
    hours = data.hours.max()
    says = (
        f"Heat given over {number(hours, 1)} hours and what the fitted room makes of it: {number(apart)} W apart (rms)."
    )
    return drawing.inline(chart.properties(width=560, height=200), says=says)
