"""Charts of what a bench does between tests: sensors side by side, a room's values over time, a unit run again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import altair as alt
import pandas as pd

from reduction.compare import Control
from reduction.examine.colocation import Colocation
from reduction.ground.constants import FAHRENHEIT_PER_KELVIN
from units import drawing
from units.picture import Column, Drawn, Picture
from units.quantities import METRIC, Display, number, with_uncertainty

WIDTH, HEIGHT = 560, 240
ROW = 34
DAY = "%-d %b %Y"
MOST_SAID = 12  # runs of which each is named in the sentence
FEW_RUNS = 6  # up to which each is named on the axis


def offsets(found: Colocation, display: Display = METRIC) -> Drawn:
    """Return each sensor's offset with its 95 % interval about zero."""
    factor, unit = (FAHRENHEIT_PER_KELVIN, "°F") if display.temperature == "F" else (1.0, "K")
    data = pd.DataFrame(
        [(each.column, factor * each.offset_k, factor * each.u95_k, each.remark) for each in found.offsets],
        columns=["sensor", "offset", "u95", "remark"],
    )
    picture = Picture(
        name="offsets",
        title="Reading less reference",
        draw=lambda data, _: _offsets(data, f"Reading less {found.reference} ({unit})"),
        says=lambda data, _: (
            "; ".join(f"{row.sensor} {with_uncertainty(row.offset, row.u95, unit)}" for row in data.itertuples()) + "."
        ),
        columns=lambda _: {
            "sensor": Column("Sensor", text=True),
            "offset": Column("Offset", u95="u95", unit=unit),
            "remark": Column("Remark", text=True),
        },
        note="Marks with their 95 % intervals; the dashed line is the reference.",
        lists=True,
        zooms=False,
        also=found.reference,
    )
    return Drawn(picture, data, display)


def _offsets(data: pd.DataFrame, title: str) -> alt.LayerChart:
    y = alt.Y("sensor:N").sort(None).title(None).axis(labelLimit=200, ticks=False, domain=False)
    base = alt.Chart(data).transform_calculate(low="datum.offset - datum.u95", high="datum.offset + datum.u95")
    zero = alt.Chart(pd.DataFrame({"at": [0.0]})).mark_rule(color=drawing.SOFT, strokeDash=[4, 3]).encode(alt.X("at:Q"))
    bars = base.mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(
        alt.X("low:Q").title(title), alt.X2("high:Q"), y
    )
    dots = base.mark_point(filled=True, size=60, color=drawing.MEASURED, opacity=1).encode(alt.X("offset:Q"), y)
    return alt.layer(zero, bars, dots).properties(width=WIDTH - 120, height=ROW * len(data))


def room_values(days: Sequence[date], ua_w_per_k: Sequence[float], u95: Sequence[float]) -> Drawn:
    """Return the whole conductance of a room as it was found over time."""
    data = pd.DataFrame({"day": pd.to_datetime(pd.Series(days)), "ua": ua_w_per_k, "u95": u95})
    data = data.assign(valid_from=data.day.dt.strftime("%Y-%m-%d"), day=data.day.dt.strftime("%Y-%m-%d"))
    picture = Picture(
        name="leakage",
        title="Heat leakage of the room over time",
        draw=lambda data, _: _room_values(data),
        says=lambda data, _: (
            "; ".join(
                f"{pd.Timestamp(row.day):{DAY}}: {with_uncertainty(row.ua, row.u95, 'W/K')}"
                for row in data.itertuples()
            )
            + "."
        ),
        columns=lambda _: {
            "valid_from": Column("Valid from", text=True),
            "ua": Column("Heat leakage, all surfaces", u95="u95", unit="W/K"),
        },
        note="All surfaces together, ± at 95 %.",
        lists=True,
        zooms=False,
    )
    return Drawn(picture, data)


def _room_values(data: pd.DataFrame) -> alt.LayerChart:
    base = alt.Chart(data).transform_calculate(low="datum.ua - datum.u95", high="datum.ua + datum.u95")
    x = alt.X("day:T").title("Valid from").scale(type="utc", padding=20).axis(**_days(data.day))
    y = alt.Y("ua:Q").title("Heat leakage, all surfaces (W/K)").scale(zero=False)
    bars = base.mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(x, alt.Y("low:Q"), alt.Y2("high:Q"))
    dots = base.mark_point(filled=True, size=70, color=drawing.MEASURED, opacity=1).encode(x, y)
    return alt.layer(bars, dots).properties(width=WIDTH, height=HEIGHT - 40)


def _days(times: pd.Series) -> dict[str, object]:
    """Return an axis that names each day where there are few of them."""
    axis: dict[str, object] = {"format": DAY, "labelOverlap": True}
    return axis | {"values": sorted(set(times))} if times.nunique() <= FEW_RUNS else axis


def control(
    runs: Sequence[tuple[datetime, str, float, float]], judged: Control, display: Display = METRIC, nth: int = 1
) -> Drawn:
    """Return the runs of a unit, each (time, label, capacity, U95) [W], with the limits that the runs before it set."""
    factor = display.power_factor
    data = pd.DataFrame(runs, columns=["time", "run", "capacity", "u95"])
    times = pd.to_datetime(data.time, utc=True)
    data = data.assign(
        time=times.dt.strftime("%Y-%m-%dT%H:%M:%SZ"), capacity=data.capacity * factor, u95=data.u95 * factor,
        low_limit=judged.low * factor, high_limit=judged.high * factor, centre=judged.centre * factor,
        outside=judged.outside, verdict=_verdicts(judged),
    )  # fmt: skip
    picture = Picture(
        name="control",
        title="Each run held against the runs before it",
        draw=_control,
        says=_runs_in_words,
        columns=lambda display: {
            "time": Column("Run (UTC)", text=True),
            "run": Column("Window", text=True),
            "capacity": Column("Capacity as tested", u95="u95", unit=display.power),
            "low_limit": Column("Lower limit", unit=display.power),
            "high_limit": Column("Upper limit", unit=display.power),
            "verdict": Column("Verdict", text=True),
        },
        note="Dashed: mean of the earlier runs ± 3 standard deviations, no less than the runs' own ±. "
        "A diamond is outside.",
    )
    return Drawn(picture, data, display, nth)


def _verdicts(judged: Control) -> list[str]:
    known = pd.notna(judged.low)
    return ["outside" if out else "inside" if held else "builds the chart"
            for out, held in zip(judged.outside, known, strict=True)]  # fmt: skip


def _control(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    title = f"Capacity as tested ({display.power})"
    x = alt.X("time:T").title("Run").scale(type="utc", padding=20).axis(**_days(data.time))
    y = alt.Y("capacity:Q").title(title).scale(zero=False)
    base = alt.Chart(data).transform_calculate(low="datum.capacity - datum.u95", high="datum.capacity + datum.u95")
    judged = alt.Chart(data[data.low_limit.notna()]).encode(x)
    end = alt.OverlayMarkDef(shape="stroke", filled=False, color=drawing.SOFT, size=140)  # one judged run is no line
    limit = judged.mark_line(color=drawing.SOFT, strokeDash=[4, 3], point=end)
    limits = [limit.encode(alt.Y(f"{name}:Q").title(title)) for name in ("low_limit", "high_limit")]
    centre = judged.mark_line(color=drawing.SOFT).encode(alt.Y("centre:Q"))
    bars = base.mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(x, alt.Y("low:Q"), alt.Y2("high:Q"))
    domain = [False, True]
    dots = base.mark_point(filled=True, size=80, opacity=1).encode(
        x,
        y,
        alt.Color("outside:N").scale(domain=domain, range=[drawing.MEASURED, drawing.BAD]).legend(None),
        alt.Shape("outside:N").scale(domain=domain, range=["circle", "diamond"]).legend(None),
        tooltip=_run_words(display),
    )
    return alt.layer(*limits, centre, bars, dots).properties(width=WIDTH, height=HEIGHT)


def _run_words(display: Display) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("run:N", title="Window"),
        alt.Tooltip("time:T", title="Run", format="%-d %b %Y, %H:%M"),
        alt.Tooltip("capacity:Q", title=f"Capacity ({display.power})", format=",.4~r"),
        alt.Tooltip("u95:Q", title="± (95 %)", format=",.2~r"),
    ]


def _runs_in_words(data: pd.DataFrame, display: Display) -> str:
    out = int(data.outside.sum())
    listed = "; ".join(
        f"{number(row.capacity)} {display.power}{' (outside)' if row.outside else ''}" for row in data.itertuples()
    )
    if len(data) > MOST_SAID:
        listed = f"from {number(data.capacity.min())} to {number(data.capacity.max())} {display.power}"
    return f"{len(data)} runs over time; {out or 'none'} outside the limits of the runs before: {listed}."
