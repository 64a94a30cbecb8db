"""Which units were tested where, what a shortfall is made of, and sound against capacity."""

from __future__ import annotations

import altair as alt
import pandas as pd

from units import drawing
from units.charts.picture import HEIGHT, MARK, WIDTH, FramePicture, dots, series, span
from units.picture import Column
from units.quantities import Display

MOST_WATERFALLS = 6
STEP_COLOURS = {
    "claim": drawing.CLAIMED,
    "measured": drawing.MEASURED,
    "modelled": drawing.SERIES[5],
    "remainder": drawing.BAD,
}


def _matrix_data(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    return frame.assign(tested=frame["count"].gt(0).map({True: "tested", False: "not tested"})).reset_index(drop=True)


def _matrix(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    x = alt.X(
        "band:N",
        sort=list(dict.fromkeys(data["band"])),
        title=f"Outdoor temperature ({display.temp_symbol})",
        axis=alt.Axis(labelAngle=0, labelLimit=110, orient="top", ticks=False, domain=False),
    )
    y = alt.Y(
        "unit:N",
        sort=list(dict.fromkeys(data["unit"])),
        title=None,
        axis=alt.Axis(labelLimit=190, ticks=False, domain=False),
    )
    base = alt.Chart(data).encode(x=x, y=y)
    fill = alt.condition("datum.count > 0", alt.value(drawing.MEASURED_SOFT), alt.value(drawing.GROUND))
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("band:N", title="Outdoors"),
        alt.Tooltip("count:Q", title="Points"),
    ]
    cells = base.mark_rect(stroke=drawing.GRID, strokeWidth=1).encode(fill=fill, tooltip=tooltip, description=MARK)
    text = (
        base.transform_filter("datum.count > 0")
        .mark_text(color=drawing.INK, fontWeight=600)
        .encode(text="count:Q", description=MARK)
    )
    return alt.layer(cells, text).properties(width=WIDTH - 80, height=alt.Step(28))


def _matrix_says(data: pd.DataFrame, display: Display) -> str:
    if data.empty:
        return "No unit was tested."
    everywhere = data.groupby("band")["count"].apply(lambda counts: bool((counts > 0).all()))
    bands = [band for band in dict.fromkeys(data["band"]) if everywhere[band]]
    shared = (
        f"All were tested at {' and at '.join(bands)} {display.temp_symbol} outdoors."
        if bands
        else "No band holds a point of every unit."
    )
    return f"{shared} An empty cell was not tested and is not filled in."


MATRIX = FramePicture(
    name="tested",
    title="Which units were tested where",
    frame="matrix",
    data=_matrix_data,
    draw=_matrix,
    says=_matrix_says,
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "band": Column("Outdoors", text=True),
        "count": Column("Points", decimals=0),
    },
    zooms=False,
)


def _steps_data(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    data = frame[["unit", "kind", "step", "because", "position"]].copy()
    data["value"] = frame["value_w"] * display.power_factor
    data["u95"] = frame["u95_w"] * display.power_factor
    data["start"] = frame["start_w"] * display.power_factor
    data["end"] = frame["end_w"] * display.power_factor
    data["claim"] = data.groupby("unit")["end"].transform("first")
    return data.reset_index(drop=True)


def _explained(data: pd.DataFrame, display: Display) -> alt.TopLevelMixin:
    """Return a waterfall for each of a few units; of many, what each has left."""
    return _waterfalls(data, display) if data["unit"].nunique() <= MOST_WATERFALLS else _remainders(data, display)


def _waterfalls(data: pd.DataFrame, display: Display) -> alt.FacetChart:
    """Return one waterfall a unit: from the claim, step by step, to what was measured."""
    ways = _ways(data)
    x = alt.X(
        "from:Q",
        axis=alt.Axis(title=f"Less or more than the claim ({display.power})", tickCount=5),
        scale=alt.Scale(domain=span([*ways["from"], *ways["low"], *ways["high"]]), nice=False),
    )
    order = list(dict.fromkeys(data.sort_values("position")["step"]))
    y = alt.Y("step:N", sort=order, title=None, axis=alt.Axis(labelLimit=200, ticks=False, domain=False))
    kinds = [kind for kind in STEP_COLOURS if kind in set(data["kind"])]
    colours = alt.Scale(domain=kinds, range=[STEP_COLOURS[kind] for kind in kinds])
    colour = alt.Color("kind:N", title=None, legend=alt.Legend(orient="bottom"), scale=colours)
    base = alt.Chart().encode(y=y, description=MARK)
    bar = base.mark_bar(height=11).encode(x=x, x2="to:Q", color=colour, tooltip=_step_words(display))
    end = base.mark_tick(thickness=2, size=15, color=drawing.INK).encode(x="to:Q")
    doubt = base.mark_rule(strokeWidth=1.6, color=drawing.INK).encode(x="low:Q", x2="high:Q")
    header = alt.Header(labelAngle=0, labelAlign="left", labelAnchor="start", labelOrient="top", labelFontWeight=600)
    panel = alt.layer(bar, end, doubt).properties(width=WIDTH - 150, height=alt.Step(19))
    return panel.facet(row=alt.Row("unit:N", title=None, header=header), data=ways).resolve_scale(y="independent")


def _ways(data: pd.DataFrame) -> pd.DataFrame:
    """Return each step's two ends as differences from the claim, and the interval of each remainder."""
    start, end = data["start"] - data["claim"], data["end"] - data["claim"]
    doubt = data["u95"].where(data["kind"] == "remainder", 0.0)
    return data.assign(**{"from": start, "to": end, "low": end - doubt, "high": end + doubt})


def _remainders(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    rest = data[data["kind"] == "remainder"].assign(
        low=lambda rows: rows["value"] - rows["u95"], high=lambda rows: rows["value"] + rows["u95"]
    )
    order = list(rest.sort_values("value")["unit"])
    title = f"Left after conditions and limits ({display.power})"
    y = alt.Y("unit:N", sort=order, title=None, axis=alt.Axis(labelLimit=190, ticks=False, domain=False))
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=drawing.CLAIMED, strokeWidth=1.8).encode(x="zero:Q")
    interval = (
        alt.Chart(rest)
        .mark_rule(strokeWidth=2, color=drawing.BAD)
        .encode(x=alt.X("low:Q", title=title), x2="high:Q", y=y, description=MARK)
    )
    mark = (
        alt.Chart(rest)
        .mark_point(filled=True, size=70, color=drawing.BAD, opacity=1)
        .encode(x="value:Q", y=y, tooltip=_step_words(display), description=MARK)
    )
    return alt.layer(zero, interval, mark).properties(width=WIDTH - 80, height=alt.Step(24))


def _step_words(display: Display) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("step:N", title="Step"),
        alt.Tooltip("value:Q", title=display.power, format=",.3~r"),
        alt.Tooltip("u95:Q", title="± (95 %)", format=",.2~r"),
        alt.Tooltip("because:N", title="Because"),
    ]


def _steps_says(data: pd.DataFrame, display: Display) -> str:
    if data.empty:
        return "No unit here has a difference from its claim that was taken apart."
    rest = data[data["kind"] == "remainder"]
    unexplained = rest[rest["value"].abs() > rest["u95"]]
    names = ", ".join(unexplained["unit"])
    return (
        f"What is left unexplained exceeds its uncertainty for {names}."
        if names
        else "After what conditions and limits explain, no remainder exceeds its uncertainty."
    )


SHORTFALL = FramePicture(
    name="shortfall",
    title="From the claim to the measurement, step by step",
    frame="steps",
    data=_steps_data,
    draw=_explained,
    says=_steps_says,
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "step": Column("Step", text=True),
        "value": Column("Capacity", u95="u95", unit=display.power),
        "kind": Column("How known", text=True),
        "because": Column("Because", text=True),
    },
    zooms=False,
    note="Each unit at its point nearest to the rating condition. A remainder inside its ± is no shortfall.",
)


def _sound_data(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    known = frame.dropna(subset=["claimed_sound", "capacity"])
    data = known[["unit", "kind", "capacity_kind"]].copy()
    data["series"] = series(known)
    data["sound"] = known["claimed_sound"]
    data["capacity"] = known["capacity"] * display.power_factor
    data["u95"] = known["capacity_u95"] * display.power_factor
    data["low"], data["high"] = data["capacity"] - data["u95"], data["capacity"] + data["u95"]
    return data.reset_index(drop=True)


def _sound_chart(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    x = alt.X(
        "capacity:Q",
        title=f"Measured capacity ({display.power})",
        scale=alt.Scale(domain=span([*data["low"], *data["high"]]), nice=False, zero=False),
    )
    y = alt.Y(
        "sound:Q",
        title="Claimed sound level (dB(A))",
        scale=alt.Scale(domain=span(data["sound"]), nice=False, zero=False),
    )
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("sound:Q", title="Claimed (dB(A))"),
        alt.Tooltip("capacity:Q", title=f"Measured ({display.power})", format=",.3~r"),
    ]
    rules = alt.Chart(data).mark_rule(color=drawing.SOFT).encode(x=alt.X("low:Q"), x2="high:Q", y=y, description=MARK)
    return alt.layer(rules, dots(data, x, y, tooltip)).properties(width=WIDTH, height=HEIGHT)


SOUND = FramePicture(
    name="sound",
    title="Claimed sound level against measured capacity",
    frame="units",
    data=_sound_data,
    draw=_sound_chart,
    says=lambda data, display: (
        "No unit here has a claimed sound level and a measured capacity."
        if data.empty
        else f"{len(data)} unit{'' if len(data) == 1 else 's'}, claimed at {data['sound'].min():g} "
        f"to {data['sound'].max():g} dB(A); the makers say so."
    ),
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "sound": Column("Claimed sound level", unit="dB(A)", decimals=0),
        "capacity": Column("Measured capacity", u95="u95", unit=display.power),
    },
    needs=("claimed_sound", "capacity"),
    note="Sound levels are claims: distance, mode and background differ between makers and are rarely stated.",
)
