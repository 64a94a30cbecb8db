"""The channels of a session on one clock, with its windows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd
from django.utils.html import format_html
from django.utils.safestring import SafeString

from tests_app.models import Window
from units import drawing
from units.quantities import Display, number

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
