"""Charts of what a bench does between tests: sensors side by side, a room's values over time, a unit run again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import altair as alt
import pandas as pd
from django.utils.safestring import SafeString

from reduction.compare import Control
from reduction.examine.colocation import Colocation
from units import drawing
from units.quantities import number, with_uncertainty

WIDTH = 520
ROW = 30


def offsets(found: Colocation) -> SafeString:
    """Return each sensor's offset with its 95 % interval about zero."""
    data = pd.DataFrame(
        [
            (each.column, each.offset_k, each.offset_k - 2 * each.u_k, each.offset_k + 2 * each.u_k)
            for each in found.offsets
        ],
        columns=["name", "value", "low", "high"],
    )
    y = alt.Y("name:N").sort(None).title(None).axis(labelLimit=200)
    x = alt.X("value:Q").title(f"Reading less {found.reference} (K)")
    zero = alt.Chart(pd.DataFrame({"at": [0.0]})).mark_rule(color=drawing.SOFT, strokeDash=[4, 3]).encode(alt.X("at:Q"))
    bars = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(alt.X("low:Q"), alt.X2("high:Q"), y)
    dots = alt.Chart(data).mark_point(filled=True, size=60, color=drawing.MEASURED).encode(x, y)
    says = "Offsets of the sensors: " + "; ".join(
        f"{each.column} {with_uncertainty(each.offset_k, 2 * each.u_k, 'K')}" for each in found.offsets
    )
    return drawing.inline(alt.layer(zero, bars, dots).properties(width=WIDTH, height=ROW * len(data)), says=says)


def room_values(days: Sequence[date], ua_w_per_k: Sequence[float], u95: Sequence[float]) -> SafeString:
    """Return the whole conductance of a room as it was found over time."""
    data = pd.DataFrame({"day": pd.to_datetime(pd.Series(days)), "ua": ua_w_per_k, "u95": u95})
    data = data.assign(low=data.ua - data.u95, high=data.ua + data.u95)
    x = alt.X("day:T").title("Valid from").axis(format="%b %Y")
    bars = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(x, alt.Y("low:Q"), alt.Y2("high:Q"))
    y = alt.Y("ua:Q").title("Heat leakage, all surfaces (W/K)").scale(zero=False)
    dots = alt.Chart(data).mark_point(filled=True, size=70, color=drawing.MEASURED).encode(x, y)
    says = "Heat leakage of the room over time: " + "; ".join(
        f"from {day:%-d %B %Y} {with_uncertainty(value, width, 'W/K')}"
        for day, value, width in zip(days, ua_w_per_k, u95, strict=True)
    )
    return drawing.inline(alt.layer(bars, dots).properties(width=WIDTH, height=200), says=says)


def control(
    times: Sequence[datetime], values_w: Sequence[float], u95_w: Sequence[float], judged: Control
) -> SafeString:
    """Return the runs of a unit over time with the limits that the runs before each set."""
    data = pd.DataFrame(
        {
            "time": pd.to_datetime(pd.Series(times), utc=True), "value": values_w, "low_limit": judged.low,
            "high_limit": judged.high, "centre": judged.centre, "outside": judged.outside,
        }
    )  # fmt: skip
    data = data.assign(low=data.value - pd.Series(u95_w), high=data.value + pd.Series(u95_w))
    x = alt.X("time:T").title("Run").axis(format="%-d %b %Y")
    y = alt.Y("value:Q").title("Capacity at the rating condition (W)").scale(zero=False)
    line = alt.Chart(data).mark_line(color=drawing.SOFT, strokeDash=[4, 3])
    limits = [line.encode(x, alt.Y(f"{name}:Q")) for name in ("low_limit", "high_limit")]
    centre = alt.Chart(data).mark_line(color=drawing.SOFT).encode(x, alt.Y("centre:Q"))
    bars = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(x, alt.Y("low:Q"), alt.Y2("high:Q"))
    dots = (
        alt.Chart(data)
        .mark_point(filled=True, size=80)
        .encode(
            x,
            y,
            alt.Color("outside:N").scale(domain=[False, True], range=[drawing.MEASURED, drawing.BAD]).legend(None),
            alt.Shape("outside:N").scale(domain=[False, True], range=["circle", "diamond"]).legend(None),
        )
    )
    says = _runs_in_words(values_w, judged)
    return drawing.inline(alt.layer(*limits, centre, bars, dots).properties(width=WIDTH, height=240), says=says)


def _runs_in_words(values_w: Sequence[float], judged: Control) -> str:
    out = int(judged.outside.sum())
    runs = zip(values_w, judged.outside, strict=True)
    listed = "; ".join(f"{number(value)} W{' (outside)' if is_out else ''}" for value, is_out in runs)
    return f"{len(values_w)} runs over time; {out or 'none'} outside the limits of the runs before: {listed}"
