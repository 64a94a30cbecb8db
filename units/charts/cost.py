"""What a season costs."""

from __future__ import annotations

import altair as alt
import pandas as pd

from units import drawing
from units.charts.picture import MARK, WIDTH, FramePicture, span
from units.picture import Column
from units.quantities import Display, with_uncertainty

ENERGY = "Btu/(W·h)"


def _data(frame: pd.DataFrame, display: Display) -> pd.DataFrame:
    return frame.sort_values("cost", kind="stable").reset_index(drop=True)


def _chart(data: pd.DataFrame, display: Display) -> alt.LayerChart:
    y = alt.Y("unit:N", sort=list(data["unit"]), title=None, axis=alt.Axis(labelLimit=190, ticks=False, domain=False))
    scale = alt.Scale(domain=span([*data["low"], *data["high"]]), nice=False, zero=False)
    title = "Cost of the season (in the currency of the price)"
    tooltip = [
        alt.Tooltip("unit:N", title="Unit"),
        alt.Tooltip("cost:Q", title="Cost", format=",.3~r"),
        alt.Tooltip("energy_kwh:Q", title="Energy (kWh)", format=",.3~r"),
        alt.Tooltip("unmet_kwh:Q", title="Load not met (kWh)", format=",.2~r"),
    ]
    interval = (
        alt.Chart(data)
        .mark_rule(strokeWidth=2, color=drawing.MEASURED)
        .encode(x=alt.X("low:Q", title=title, scale=scale), x2="high:Q", y=y, description=MARK)
    )
    mark = (
        alt.Chart(data)
        .mark_point(filled=True, size=75, color=drawing.MEASURED, opacity=1)
        .encode(x=alt.X("cost:Q", title=title, scale=scale), y=y, tooltip=tooltip, description=MARK)
    )
    return alt.layer(interval, mark).properties(width=WIDTH - 80, height=alt.Step(26))


def _says(data: pd.DataFrame, display: Display) -> str:
    if data.empty:
        return "No unit has points that can be brought to a season."
    first, last = data.iloc[0], data.iloc[-1]
    short = int((data["unmet_kwh"] > 0.01 * data["energy_kwh"]).sum())
    beyond = f" {short} of them cannot carry the whole load." if short else ""
    if len(data) == 1:
        return f"About {with_uncertainty(first.cost, first.cost_u)} for the season.{beyond}"
    return (
        f"From {with_uncertainty(first.cost, first.cost_u)} ({first.unit}) to "
        f"{with_uncertainty(last.cost, last.cost_u)} ({last.unit}).{beyond}"
    )


COST = FramePicture(
    name="cost",
    title="Cost of a season",
    frame="costs",
    data=_data,
    draw=_chart,
    says=_says,
    columns=lambda display: {
        "unit": Column("Unit", text=True),
        "cost": Column("Cost", u95="cost_u"),
        "energy_kwh": Column("Energy", unit="kWh"),
        "efficiency": Column("Season's efficiency", u95="efficiency_u95", unit=ENERGY),
        "unmet_kwh": Column("Load not met", unit="kWh"),
    },
    note="For the climate, hours, load and price chosen above. Cycling loss and standby were not measured: the bar "
    "spans what they may be. It is no SEER or CEER. At most 20 units at once.",
)
