"""The parts of a result: terms, windows side by side, the way from the claim, the fit of a room."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd

from reduction import session as doc
from tests_app.charts.timeline import ROOM_FOR_TYPE
from units import drawing
from units.picture import Column, Drawn, Picture
from units.quantities import METRIC, Display, number

INKS = {"claim": drawing.CLAIMED, "measured": drawing.MEASURED, "modelled": drawing.SOFT, "remainder": drawing.WARN}
NAMES = {"labelLimit": 250, "minExtent": 250, "ticks": False, "domain": False}


def terms(point: doc.Point, display: Display = METRIC, nth: int = 1) -> Drawn:
    """Return the terms of the heat balance as bars with their uncertainty; they sum to the capacity."""
    rows = [(term.name, term.value_w, 2 * term.u_w, term.how) for term in point.terms]
    rows.append(("Capacity", point.capacity_w, point.capacity_u95_w, f"{point.capacity_kind}, the sum of the terms"))
    data = pd.DataFrame(rows, columns=["term", "value", "u95", "how"])
    data[["value", "u95"]] *= display.power_factor
    picture = Picture(
        name="terms",
        title=f"Terms of the heat balance, window {point.label}",
        draw=_terms,
        says=_in_words,
        columns=lambda display: {
            "term": Column("Term", text=True),
            "value": Column("Heat into the room", u95="u95", unit=display.power),
            "how": Column("How it is known", text=True),
        },
        note="Each term of the balance and their sum, with 95 % intervals.",
        lists=True,
        zooms=False,
        wide=True,
    )
    return Drawn(picture, data, display, nth)


def _terms(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    data = _ends(data).assign(is_sum=data.index == len(data) - 1)
    y = alt.Y("term:N").sort(list(data.term)).title(None).axis(**NAMES)
    x = alt.X("value:Q").title(f"Heat into the room, and the sum the unit removed ({display.power})")
    ink = alt.Color("is_sum:N").scale(domain=[False, True], range=[drawing.SOFT, drawing.MEASURED]).legend(None)
    bars = alt.Chart(data).mark_bar(height={"band": 0.62}).encode(x, y, ink)
    errors = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.INK).encode(alt.X("low:Q"), alt.X2("high:Q"), y)
    return alt.layer(bars, errors).properties(width=560, height=30 * len(data))


def _ends(data: pd.DataFrame) -> pd.DataFrame:
    return data.assign(low=data.value - data.u95, high=data.value + data.u95)


def _in_words(data: pd.DataFrame, display: Display) -> str:
    """Say each row's value by its name, which is the first column."""
    named = zip(data.iloc[:, 0], data.value, data.u95, strict=True)
    return (
        "; ".join(f"{name} {_spoken(w, display)} plus or minus {_spoken(u95, display)}" for name, w, u95 in named) + "."
    )


def _spoken(value: float, display: Display) -> str:
    return f"{number(value)} {display.power}"


def windows_compared(points: Sequence[doc.Point], display: Display = METRIC) -> Drawn:
    """Return the capacity of each window with its error bar."""
    rows = [(point.label, point.capacity_w, point.capacity_u95_w, point.capacity_kind) for point in points]
    data = pd.DataFrame(rows, columns=["window", "value", "u95", "capacity_kind"])
    data[["value", "u95"]] *= display.power_factor
    picture = Picture(
        name="windows",
        title="Capacity by window",
        draw=_windows,
        says=_in_words,
        columns=lambda display: {
            "window": Column("Window", text=True),
            "value": Column("Capacity", u95="u95", unit=display.power),
            "capacity_kind": Column("Capacity is", text=True),
        },
        note="With 95 % intervals; each window's conditions are below.",
        lists=True,
        zooms=False,
    )
    return Drawn(picture, data, display)


def _windows(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    base = alt.Chart(_ends(data))
    x = alt.X("window:N").sort(None).title("Window").axis(labelAngle=0)
    y = alt.Y("value:Q").title(f"Capacity ± U95 ({display.power})").scale(zero=False)
    errors = base.mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(x, alt.Y("low:Q"), alt.Y2("high:Q"))
    dots = base.mark_point(filled=True, size=70, color=drawing.MEASURED, opacity=1).encode(x, y)
    return alt.layer(errors, dots).properties(width=max(520, 90 * len(data)), height=220)


def shortfall(point: doc.Point, display: Display = METRIC, nth: int = 1) -> Drawn:
    """Return the way from claim to measured: its ends as marks, each step between as a bar from where the last ended.

    The axis leaves zero out, so that a step of some per cent can be seen; no bar starts at the axis.
    """
    picture = Picture(
        name="way",
        title=f"From the claim to the measured capacity, window {point.label}",
        draw=_way,
        says=lambda data, display: (
            "; ".join(f"{row.step} {_spoken(row.change, display)}" for row in data.itertuples()) + "."
        ),
        columns=lambda display: {
            "step": Column("Step", text=True),
            "change": Column("Change", u95="u95", unit=display.power),
            "to_power": Column("Then stands at", unit=display.power),
            "kind": Column("Known how", text=True),
            "because": Column("Why", text=True),
        },
        note="Each step in order; bars span the change, lines its 95 % interval.",
        lists=True,
        zooms=False,
        wide=True,
    )
    return Drawn(picture, _steps(point, display), display, nth)


def _way(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    data = data.assign(low=data.to_power - data.u95, high=data.to_power + data.u95)
    y = alt.Y("step:N").sort(list(data.step)).title(None).axis(**NAMES)
    x = alt.X("from_power:Q").title(f"Capacity ({display.power}), not from zero").scale(zero=False)
    ink = alt.Color("kind:N").scale(domain=list(INKS), range=list(INKS.values())).legend(title=None)
    ends, steps = (alt.Chart(data[data.is_end == is_end]) for is_end in (True, False))
    bars = steps.mark_bar(height={"band": 0.62}).encode(x, alt.X2("to_power:Q"), y, ink)
    marks = ends.mark_point(shape="diamond", filled=True, size=140, opacity=1).encode(x, y, ink)
    errors = alt.Chart(data).mark_rule(strokeWidth=2, color=drawing.INK).encode(alt.X("low:Q"), alt.X2("high:Q"), y)
    return alt.layer(bars, errors, marks).properties(width=520, height=32 * len(data), padding=ROOM_FOR_TYPE)


def _steps(point: doc.Point, display: Display) -> pd.DataFrame:
    """Return a row a step: its change with U95, where it starts and ends, in the reader's unit of power."""
    measured = doc.Step(
        name="Measured", value_w=point.capacity_w, u_w=point.capacity_u95_w / 2, kind="measured", because="Their sum."
    )
    rows, level_w = [], 0.0
    for step in (*point.shortfall, measured):
        is_end = step.kind == "claim" or step is measured
        start = step.value_w if is_end else level_w
        level_w = start if is_end else start + step.value_w
        rows.append((step.name, step.kind, step.because, is_end, step.value_w, 2 * step.u_w, start, level_w))
    data = pd.DataFrame(rows, columns=["step", "kind", "because", "is_end", "change", "u95", "from_power", "to_power"])
    data[["change", "u95", "from_power", "to_power"]] *= display.power_factor
    return data


GIVEN, FITTED = "given", "fitted room"


def room_fit(
    fit: doc.RoomFit, *, title: str = "Heat given and what the fitted room makes of it", nth: int = 1
) -> Drawn:
    """Return the heat given in a characterisation run, what the fitted room makes of it, and what is left over."""
    data = pd.DataFrame(fit.course_w, columns=["hours", "given", "fitted"])
    picture = Picture(
        name="fit",
        title=title,
        draw=lambda data, _: _room_fit(data),
        says=lambda data, _: _fit_in_words(data, fit.residual_whiteness),
        columns=lambda _: {
            "hours": Column("Since the start", unit="h", decimals=2),
            "given": Column("Heat given", unit="W", decimals=0),
            "fitted": Column("Fitted room", unit="W", decimals=0),
            "left_over": Column("Left over", unit="W", decimals=0),
        },
        note="Where the two lines part, the room did something that the model does not know; below, what is left over. "
        "A model that fits leaves no pattern.",
    )
    return Drawn(picture, data.assign(left_over=data.given - data.fitted), METRIC, nth)


def _fit_in_words(data: pd.DataFrame, whiteness: str) -> str:
    apart = float(data.left_over.pow(2).mean()) ** 0.5
    return (
        f"Over {number(data.hours.max(), 1)} hours {number(apart)} W apart (rms), at most "
        f"{number(data.left_over.abs().max())} W; {whiteness}."
    )


def _room_fit(data: pd.DataFrame) -> alt.VConcatChart:
    names = [GIVEN, FITTED]
    long = data.rename(columns={"fitted": FITTED}).melt("hours", names, var_name="what", value_name="power_w")
    hours = alt.X("hours:Q").title("Hours since the start").scale(nice=False)
    course = (
        alt.Chart(long)
        .mark_line(strokeWidth=1.6, clip=True)
        .encode(
            hours,
            alt.Y("power_w:Q").title("Heat into the room (W)"),
            alt.Color("what:N").scale(domain=names, range=[drawing.SOFT, drawing.MEASURED]).title(None),
            alt.StrokeDash("what:N").scale(domain=names, range=[[1, 0], [6, 3]]).title(None),
        )
    )
    zero = alt.Chart(pd.DataFrame({"left_over": [0.0]})).mark_rule(color=drawing.SOFT).encode(alt.Y("left_over:Q"))
    y = alt.Y("left_over:Q").title("Left over (W)")
    stems = alt.Chart(data).mark_rule(color=drawing.WARN, clip=True).encode(hours, y, alt.Y2(datum=0.0))
    dots = alt.Chart(data).mark_point(filled=True, size=22, color=drawing.WARN, clip=True).encode(hours, y)
    parts = course.properties(width=560, height=200), alt.layer(zero, stems, dots).properties(width=560, height=90)
    return alt.vconcat(*parts).resolve_scale(x="shared")
