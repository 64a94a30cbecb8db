"""The parts of a result: terms, windows side by side, the way from the claim, the fit of a room."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd
from django.utils.safestring import SafeString

from reduction import session as doc
from tests_app.charts.timeline import ROOM_FOR_TYPE
from units import drawing
from units.quantities import METRIC, Display, number


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
    """Return the way from claim to measured: its ends as marks, each step between as a bar from where the last ended.

    The axis leaves zero out, so that a step of some per cent can be seen; no bar starts at the axis.
    """
    data = _steps(point, display)
    y = alt.Y("name:N").sort(list(data["name"])).title(None).axis(labelLimit=250, minExtent=250)
    x = alt.X("from_power:Q").title(f"Capacity ({display.power}), not from zero").scale(zero=False)
    inks = {"claim": drawing.CLAIMED, "measured": drawing.MEASURED, "modelled": drawing.SOFT, "remainder": drawing.WARN}
    ink = alt.Color("kind:N").scale(domain=list(inks), range=list(inks.values())).legend(title=None)
    ends, steps = (alt.Chart(data[data.is_end == is_end]) for is_end in (True, False))
    bars = steps.mark_bar(height={"band": 0.62}).encode(x, alt.X2("to_power:Q"), y, ink)
    marks = ends.mark_point(shape="diamond", filled=True, size=140, opacity=1).encode(x, y, ink)
    errors = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.INK).encode(alt.X("low:Q"), alt.X2("high:Q"), y)
    said = "; ".join(
        f"{name} {number(change)} {display.power}" for name, change in zip(data["name"], data.change, strict=True)
    )
    picture = alt.layer(bars, errors, marks).properties(width=520, height=32 * len(data), padding=ROOM_FOR_TYPE)
    return drawing.inline(picture, says=f"From the claim to the measured capacity: {said}")


def _steps(point: doc.Point, display: Display) -> pd.DataFrame:
    """Return a row a step: its change, start, end and its end's 95 % interval, in the reader's unit of power."""
    measured = doc.Step(name="Measured", value_w=point.capacity_w, u_w=point.capacity_u_w, kind="measured", because="")
    rows, level_w = [], 0.0
    for step in (*point.shortfall, measured):
        is_end = step.kind == "claim" or step is measured
        start = step.value_w if is_end else level_w
        level_w = start if is_end else start + step.value_w
        u95 = 2 * step.u_w
        rows.append((step.name, step.kind, is_end, step.value_w, start, level_w, level_w - u95, level_w + u95))
    columns = ["name", "kind", "is_end", "change", "from_power", "to_power", "low", "high"]
    data = pd.DataFrame(rows, columns=columns)
    data[columns[3:]] *= display.power_factor
    return data


def room_fit(fit: doc.RoomFit) -> SafeString:
    """Return the heat given in a characterisation run, what the fitted room makes of it, and what is left over."""
    names = ["given", "fitted room"]
    wide = pd.DataFrame(fit.course_w, columns=["hours", *names])
    data = wide.melt("hours", var_name="what", value_name="power_w")
    hours = alt.X("hours:Q").title("Hours since the start")
    course = (
        alt.Chart(data)
        .mark_line(strokeWidth=1.6)
        .encode(
            hours,
            alt.Y("power_w:Q").title("Heat into the room (W)"),
            alt.Color("what:N").scale(domain=names, range=[drawing.SOFT, drawing.MEASURED]).title(None),
            alt.StrokeDash("what:N").scale(domain=names, range=[[1, 0], [6, 3]]).title(None),
        )
    )
    left = wide.assign(left_w=wide[names[0]] - wide[names[1]])
    zero = alt.Chart(pd.DataFrame({"left_w": [0.0]})).mark_rule(color=drawing.SOFT).encode(alt.Y("left_w:Q"))
    y = alt.Y("left_w:Q").title("Left over (W)")
    stems = alt.Chart(left).mark_rule(color=drawing.WARN).encode(hours, y, alt.Y2(datum=0.0))
    dots = alt.Chart(left).mark_point(filled=True, size=22, color=drawing.WARN).encode(hours, y)
    apart = float(left.left_w.pow(2).mean()) ** 0.5
    says = (
        f"Heat given over {number(wide.hours.max(), 1)} hours and what the fitted room makes of it: "
        f"{number(apart)} W apart (rms), at most {number(left.left_w.abs().max())} W; {fit.residual_whiteness}."
    )
    parts = course.properties(width=560, height=200), alt.layer(zero, stems, dots).properties(width=560, height=90)
    return drawing.inline(alt.vconcat(*parts), says=says)
