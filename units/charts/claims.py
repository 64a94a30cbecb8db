"""Measured against claimed: the figures themselves, and their ratio in order."""

from __future__ import annotations

import altair as alt
import pandas as pd

from units import drawing
from units.charts.picture import MARK, PER_CENT, WIDTH, FramePicture, bars, dots, series, span
from units.picture import Column
from units.quantities import Display, percent


def _against(quantity: str, factor: float, frame: pd.DataFrame) -> pd.DataFrame:
    """Return one row a unit with measured and claimed in the reader's unit, and the ends of the interval."""
    known = frame.dropna(subset=[quantity, f"claimed_{quantity}"])
    data = known[["unit", "kind", "capacity_kind", "basis"]].copy()
    data["series"] = series(known)
    data["claimed"] = known[f"claimed_{quantity}"] * factor
    data["measured"] = known[quantity] * factor
    data["u95"] = known[f"{quantity}_u95"] * factor
    data["low"], data["high"] = data["measured"] - data["u95"], data["measured"] + data["u95"]
    data["tolerance"] = known[f"{quantity}_tolerance"]
    return data.reset_index(drop=True)


def _one_to_one(data: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    """Return the line where measured equals claimed, and the band a scheme tolerates below it."""
    ends = pd.DataFrame({"claimed": x.to_dict()["scale"]["domain"]})
    ends["measured"] = ends["claimed"]
    line = alt.Chart(ends).mark_line(color=drawing.CLAIMED, strokeWidth=1.6).encode(x=x, y=y)
    tolerances = data["tolerance"].dropna().unique()
    if len(tolerances) != 1 or not tolerances[0]:
        return [line]
    ends["least"] = ends["claimed"] * (1 - float(tolerances[0]))
    band = alt.Chart(ends).mark_area(color=drawing.CLAIMED, opacity=0.14).encode(x=x, y=y, y2="least:Q")
    return [band, line]


def _scatter(data: pd.DataFrame, name: str, unit: str) -> alt.LayerChart:
    domain = span([*data["claimed"], *data["low"], *data["high"]])
    scale = alt.Scale(domain=domain, zero=False, nice=False)
    x = alt.X("claimed:Q", scale=scale, title=f"Claimed {name} ({unit})")
    y = alt.Y("measured:Q", scale=scale, title=f"Measured {name} ({unit})")
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("measured:Q", title=f"Measured ({unit})", format=",.3~r"),
        alt.Tooltip("u95:Q", title="± (95 %)", format=",.2~r"),
        alt.Tooltip("claimed:Q", title=f"Claimed ({unit})", format=",.3~r"),
        alt.Tooltip("basis:N", title="Basis"),
    ]
    layers = [*_one_to_one(data, x, y), bars(data, x, "measured"), dots(data, x, y, tooltip)]
    return alt.layer(*layers).properties(width=WIDTH, height=WIDTH * 0.72)


def _says(data: pd.DataFrame, what: str) -> str:
    part = data["capacity_kind"] == "sensible"  # a lower bound: it may lie above the claim, below it tells nothing
    above, under = data["low"] > data["claimed"], (data["high"] < data["claimed"]) & ~part
    below, open_ones = int(under.sum()), int((part & ~above).sum())
    rest, above = len(data) - below - open_ones - int(above.sum()), int(above.sum())
    said = [
        f"{count} {'unit' if count == 1 else 'units'} {words}"
        for count, words in (
            (below, "measured below the claim beyond the uncertainty"),
            (rest, "whose interval holds the claim"),
            (above, "above the claim"),
            (open_ones, "known by the sensible part only, a lower bound that is not above the claim"),
        )
        if count
    ]
    return (
        f"{what[0].upper()}{what[1:]}: {'; '.join(said)}."
        if said
        else f"No unit has both a measured and a claimed {what}."
    )


def _columns(name: str, unit: str) -> dict[str, Column]:
    return {
        "unit": Column("Unit", text=True),
        "measured": Column(f"Measured {name}", u95="u95", unit=unit),
        "claimed": Column(f"Claimed {name}", unit=unit),
        "capacity_kind": Column("Capacity is", text=True),
        "basis": Column("Basis", text=True),
    }


CAPACITY = FramePicture(
    name="capacity-claimed",
    title="Measured against claimed capacity",
    frame="units",
    data=lambda frame, display: _against("capacity", display.power_factor, frame),
    draw=lambda data, display: _scatter(data, "capacity", display.power),
    says=lambda data, display: _says(data, "capacity"),
    columns=lambda display: _columns("capacity", display.power),
    needs=("capacity", "claimed_capacity"),
    note="The line is measured = claimed; a shaded band below it is what the claim's scheme tolerates. "
    "Open marks are the sensible part only, a lower bound of the total.",
)
EER = FramePicture(
    name="eer-claimed",
    title="Measured against claimed EER",
    frame="units",
    data=lambda frame, display: _against("eer", 1.0, frame),
    draw=lambda data, display: _scatter(data, "EER", "Btu/(W·h)"),
    says=lambda data, display: _says(data, "EER"),
    columns=lambda display: _columns("EER", "Btu/(W·h)"),
    needs=("eer", "claimed_eer"),
    note="Claims of CEER, SEER or COP are on another basis and are not drawn here.",
)


def _ranked(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    known = frame.dropna(subset=["ratio"]).sort_values("ratio", ascending=False, kind="stable")
    data = known[["unit", "kind", "capacity_kind", "basis", "group", "ratio", "ratio_u95", "n_points"]].copy()
    data["low"], data["high"] = data["ratio"] - data["ratio_u95"], data["ratio"] + data["ratio_u95"]
    data["series"] = "ratio"
    data["group"] = data["group"].fillna("")
    return data.reset_index(drop=True)


def _ladder(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    """Return the ratios from the highest down, with their intervals; alternating grounds tell the groups apart."""
    x = alt.X(
        "ratio:Q",
        scale=alt.Scale(domain=span([*data["low"], *data["high"], 1.0]), nice=False, zero=False),
        axis=alt.Axis(labelExpr=PER_CENT, title="Measured ÷ claimed capacity (%)", grid=True),
    )
    y = alt.Y("unit:N", sort=list(data["unit"]), title=None, axis=alt.Axis(labelLimit=190, ticks=False, domain=False))
    claim = alt.Chart(pd.DataFrame({"one": [1.0]})).mark_rule(color=drawing.CLAIMED, strokeWidth=1.8).encode(x="one:Q")
    base = alt.Chart(data)
    interval = base.mark_rule(strokeWidth=2, color=drawing.MEASURED).encode(
        x=alt.X("low:Q", title=x.to_dict()["axis"]["title"]), x2="high:Q", y=y, description=MARK
    )
    fill = alt.condition("datum.capacity_kind == 'sensible'", alt.value(drawing.GROUND), alt.value(drawing.MEASURED))
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("ratio:Q", title="Measured ÷ claimed", format=".1%"),
        alt.Tooltip("ratio_u95:Q", title="± (95 %)", format=".1%"),
        alt.Tooltip("group:N", title="Group"),
    ]
    mark = base.mark_point(size=80, stroke=drawing.MEASURED, strokeWidth=2, fillOpacity=1, opacity=1).encode(
        x=x, y=y, fill=fill, tooltip=tooltip, description=MARK
    )
    letter = base.mark_text(align="left", dx=8, color=drawing.INK, fontWeight=600).encode(
        x="high:Q", y=y, text="group:N", description=MARK
    )
    layers = alt.layer(claim, interval, mark, letter)
    return layers.properties(width=WIDTH - 80, height=alt.Step(26))


def _ranked_says(data: pd.DataFrame, display: Display) -> str:
    if data.empty:
        return "No unit has a figure that can be compared with its claim here."
    first, last = data.iloc[0], data.iloc[-1]
    if len(data) == 1:
        return f"{percent(first.ratio, first.ratio_u95)} of the claimed capacity was measured."
    groups = data["group"].replace("", pd.NA).dropna().nunique()
    told = f"; {groups} group{'' if groups == 1 else 's'} can be told apart" if groups and len(data) > 1 else ""
    return (
        f"From {percent(first.ratio, first.ratio_u95)} of the claim ({first.unit}) "
        f"to {percent(last.ratio, last.ratio_u95)} ({last.unit}){told}."
    )


RATIO = FramePicture(
    name="ratio",
    title="Share of the claim, in order",
    frame="units",
    data=_ranked,
    draw=_ladder,
    says=_ranked_says,
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "ratio": Column("Measured ÷ claimed", u95="ratio_u95"),
        "group": Column("Group", text=True),
        "n_points": Column("Points", decimals=0),
        "capacity_kind": Column("Capacity is", text=True),
        "basis": Column("Basis", text=True),
    },
    needs=("ratio",),
    note="Units of one letter cannot be told apart with 95 % probability: the order within a group means nothing. "
    "A sensible figure has no letter: it is a lower bound.",
)
