"""The channels of a session on one clock, with its windows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import altair as alt
import pandas as pd

from reduction.ground.constants import FAHRENHEIT_PER_KELVIN, FAHRENHEIT_ZERO
from tests_app.models import Window
from units import drawing
from units.picture import Column, Drawn, Picture
from units.quantities import Display

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
UNIT = re.compile(r"\s*[(\[](°?[CF]|K|[mk]?W|[mk]?Wh|%|% ?RH)[)\]]$")
SHADES = drawing.SERIES
DASHES = [[1, 0], [6, 3], [2, 2], [8, 3, 2, 3]]


def timeline(frame: pd.DataFrame, windows: Sequence[Window], zone: str, display: Display) -> Drawn | None:
    """Return the channels on one clock, a panel a quantity, windows as bands; None where no panel takes a channel."""
    panels = {column: panel for column in frame.columns if (panel := _panel_of(_parts(column)[0]))}
    if not panels:
        return None
    data, bands = _local(frame, zone, display), _bands(windows, zone)
    picture = Picture(
        name="timeline",
        title="Channels on one clock",
        draw=lambda data, display: _timeline(data, panels, bands, zone, display),
        says=lambda data, _: _timeline_says(data, windows, zone),
        columns=lambda display: _columns(frame.columns, panels, zone, display),
        note=f"Times in {zone}. Shaded: accepted windows; lightly shaded: proposed ones. The table holds means over "
        "equal spans.",
        wide=True,
        tabled=_over_spans,
        also=f"{zone}{bands.to_json()}",
    )
    return Drawn(picture, data, display)


def _local(frame: pd.DataFrame, zone: str, display: Display) -> pd.DataFrame:
    """Return at most so many rows as can be drawn, on wall-clock time; the picture's scale takes it for UTC."""
    width = -(-len(frame) // MOST_PER_LINE)
    drawn = frame.groupby(pd.RangeIndex(len(frame)) // width).mean()
    drawn = drawn.apply(lambda values: _shown(values, _panel_of(_parts(str(values.name))[0]), display))
    wall = frame.index[::width].tz_convert(ZoneInfo(zone))
    return drawn.assign(time=wall.strftime("%Y-%m-%d %H:%M:%S"))


def _over_spans(data: pd.DataFrame) -> pd.DataFrame:
    """Return means over equal spans, few enough for a page."""
    span = pd.RangeIndex(len(data)) // max(1, -(-len(data) // TABLE_ROWS))
    means = data.drop(columns="time").groupby(span).mean()
    return means.assign(time=data["time"].groupby(span).first().str[:16])


def _columns(names: Sequence[str], panels: dict[str, str], zone: str, display: Display) -> dict[str, Column]:
    """Return the table's columns: the start of each span, then each channel by its name."""
    cells = {
        name: Column(_drawn_as(*_parts(name)), unit=_symbol(panels.get(name, ""), display), decimals=1,
                     missing="no data")
        for name in names
    }  # fmt: skip
    return {"time": Column("From", text=True, unit=zone)} | cells


def _symbol(panel: str, display: Display) -> str:
    return display.temp_symbol if panel in TEMPERATURES else {"Power": "W", "Humidity": "%"}.get(panel, "")


def _timeline(
    data: pd.DataFrame, panels: dict[str, str], bands: pd.DataFrame, zone: str, display: Display
) -> alt.VConcatChart:
    long = _long(data, panels)
    names = [name for name, _ in PANELS if (long.panel == name).any()]
    drawn = [_panel(long[long.panel == n], bands, n, zone, display, is_last=n == names[-1]) for n in names]
    return alt.vconcat(*drawn, spacing=14, padding=ROOM_FOR_TYPE).resolve_scale(
        x="shared", color="independent", strokeDash="independent"
    )


def _timeline_says(data: pd.DataFrame, windows: Sequence[Window], zone: str) -> str:
    names = ", ".join(_drawn_as(*_parts(column)) for column in data.columns if column != "time")
    taken, count = sum(window.accepted for window in windows), len(windows)
    first, last = data["time"].iloc[0][:16], data["time"].iloc[-1][:16]
    return f"{first} to {last} {zone}, {names}; {count} window{'s'[: count != 1]}, {taken} of them accepted."


def _parts(column: str) -> tuple[str, str]:
    role, _, name = column.partition("|")
    return role, name


def _long(data: pd.DataFrame, panels: dict[str, str]) -> pd.DataFrame:
    """Return a row a channel and time; the time is the wall clock's, which the picture's scale takes for UTC."""
    time = data["time"].str.replace(" ", "T") + "Z"
    tables = [
        pd.DataFrame({"time": time, "value": data[name], "channel": _drawn_as(*_parts(name)), "panel": panel})
        for name, panel in panels.items()
    ]
    return pd.concat(tables, ignore_index=True)


def _panel_of(role: str) -> str | None:
    """Return the panel a role is drawn in: the first that takes it."""
    return next((panel for panel, endings in PANELS if role.endswith(endings)), None)


def _drawn_as(role: str, name: str) -> str:
    """Return a channel's name in the legend, without its logger's unit: the axis may be in another.

    What counts energy is drawn as the power that its steps mean.
    """
    bare = UNIT.sub("", name) or name
    return f"{bare}, as power" if role.endswith("_energy") else bare


def _shown(values: pd.Series, panel: str | None, display: Display) -> pd.Series:
    if panel in TEMPERATURES and display.temperature == "F":
        return values * FAHRENHEIT_PER_KELVIN + FAHRENHEIT_ZERO
    return values


def _bands(windows: Sequence[Window], zone: str) -> pd.DataFrame:
    def wall(instant: pd.Timestamp) -> str:
        return pd.Timestamp(instant).tz_convert(zone).strftime("%Y-%m-%dT%H:%M:%SZ")

    shown = [window for window in windows if window.is_drawn]
    rows = [(window.label, wall(window.start), wall(window.end), window.accepted) for window in shown]
    return pd.DataFrame(rows, columns=["label", "start", "end", "accepted"])


def _panel(
    long: pd.DataFrame, bands: pd.DataFrame, name: str, zone: str, display: Display, is_last: bool
) -> alt.LayerChart:
    symbol = _symbol(name, display)
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
    missing = max(0.0, LEAST_SPAN_K * (FAHRENHEIT_PER_KELVIN if display.temperature == "F" else 1.0) - (high - low)) / 2
    return alt.Scale(domain=[low - missing, high + missing], nice=True)
