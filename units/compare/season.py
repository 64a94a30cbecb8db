"""A season of the reader's own: what a unit would draw and cost, from its measured points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, isfinite
from typing import TYPE_CHECKING, Any

import pandas as pd

from reduction.documents.result import Limit
from reduction.judge.explain import UNSEEN
from reduction.judge.rated_point import RatedPoint, common_errors
from reduction.season.duct_costs import with_ducts
from reduction.season.seasonal import ISO_FULL_LOAD_C, ISO_NO_LOAD_C, Bins, load_line, published_bins
from reduction.season.unit_season import OwnSeason, levels_of_rated, own_season, procedure_figures
from reduction.session import Compressor, DuctedPoint, Measured, SeasonFigure, UnitKind
from units.quantities import METRIC, Display

if TYPE_CHECKING:
    from django.http import QueryDict

    from units.compare.points import PointRow, UnitRow

CLIMATES = {
    "eu_cooling": "European cooling season",
    "iso_16358": "ISO 16358 reference climate",
    "ahri_210_240": "US cooling bins, AHRI 210/240",
}
MOST_SEASONS = 20  # each is carried to every bin of the climate by every map, which takes its time
TEMP_U_C = 0.3  # of a point's conditions, where its row does not say; a usual sensor, common practice, no source
LIMITS = {"hours": (1.0, 8760.0), "load_w": (200.0, 30_000.0), "price": (0.0, 100.0), "wet_bulb_c": (10.0, 26.0)}
COLUMNS = ["unit", "kind", "cost", "cost_u", "low", "high", "energy_kwh", "efficiency", "efficiency_u95", "unmet_kwh"]


@dataclass(frozen=True)
class Choice:
    """What the reader says of room, climate and price; the defaults are an example, not advice."""

    climate: str = "eu_cooling"
    hours: float = 1000.0
    load_w: float = 2000.0
    price: float = 0.30
    wet_bulb_c: float = 19.0

    @classmethod
    def from_query(cls, query: QueryDict, display: Display = METRIC) -> Choice:
        """Read the address; what is no sensible number stays at its default."""
        given = {name: _number(query.get(name), *LIMITS[name]) for name in ("hours", "price")}
        load = _number(query.get("load"), *(limit * display.power_factor for limit in LIMITS["load_w"]))
        given["load_w"] = None if load is None else load / display.power_factor
        climate = query.get("climate", "")
        known = {name: value for name, value in given.items() if value is not None}
        return cls(**known, **({"climate": climate} if climate in CLIMATES else {}))

    @property
    def bins(self) -> Bins:
        """The climate's hours by outdoor temperature, as many in all as the reader says."""
        published = published_bins(self.climate)
        return Bins(published.outdoor_temp_c, published.hours * (self.hours / published.hours.sum()))


def _number(text: str | None, low: float, high: float) -> float | None:
    try:
        value = float((text or "").replace(",", "."))
    except ValueError:
        return None
    return min(max(value, low), high) if isfinite(value) else None


def season_of(row: UnitRow, choice: Choice) -> OwnSeason | None:
    """Return the season that a unit's points give, or None where no point can be brought to the climate."""
    bins = choice.bins
    return own_season(
        levels_of_rated(rated_points(row)),
        bins,
        load_line(bins.outdoor_temp_c, ISO_NO_LOAD_C, ISO_FULL_LOAD_C, choice.load_w),
        room_wet_bulb_c=choice.wet_bulb_c,
        price_per_kwh=choice.price,
    )


def rated_points(row: UnitRow) -> list[RatedPoint]:
    """Return what a unit's points offer to a correction."""
    kind = UnitKind(row.unit.kind)
    return [each for point in row.points if (each := rated_row(point, kind))]


def procedure_figures_of(row: UnitRow) -> tuple[SeasonFigure, ...]:
    """Return what the unit's points, of whatever sessions, give by each published procedure for its kind."""
    kind = UnitKind(row.unit.kind)
    points = [(each, _ducted(point)) for point in row.points if (each := rated_row(point, kind))]
    ducted = [both for each, ducts in points if (both := with_ducts(each, ducts))]
    compressor = Compressor(row.unit.compressor or Compressor.UNKNOWN)
    return procedure_figures([each for each, _ in points], kind, compressor=compressor, ducted=ducted)


def _ducted(point: PointRow) -> DuctedPoint | None:
    kept = point.detail.get("ducted")
    return DuctedPoint.model_validate(kept) if kept else None


def rated_row(point: PointRow, kind: UnitKind) -> RatedPoint | None:
    """Return what a point offers to a correction; what may have condensed unseen is taken from its shortfall."""
    if point.room_temp_c is None or point.outdoor_temp_c is None or point.capacity_w <= point.capacity_u95_w:
        return None
    unseen: dict[str, Any] = next(
        (step for step in point.detail.get("shortfall") or [] if step["name"] == UNSEEN), {"value_w": 0.0, "u_w": 0.0}
    )
    capacity_w, u = point.capacity_w - unseen["value_w"], hypot(point.capacity_u95_w / 2.0, unseen["u_w"])
    budget, eer_budget = (
        [(line["shared_key"], line["contribution_w"]) for line in point.detail.get(name) or []]
        for name in ("budget", "eer_budget")
    )
    return RatedPoint(
        kind=kind,
        capacity=Measured(value=capacity_w, u=u),
        power=Measured(value=point.power_w, u=point.power_u95_w / 2.0),
        room_temp_c=Measured(value=point.room_temp_c, u=TEMP_U_C),
        room_wet_bulb_c=None if point.room_wet_bulb_c is None else Measured(value=point.room_wet_bulb_c, u=TEMP_U_C),
        outdoor_temp_c=Measured(value=point.outdoor_temp_c, u=TEMP_U_C),
        limit=Limit(verdict=point.limit, because=""),
        common=common_errors(capacity_w, budget, point.eer_btu_per_wh, eer_budget),
    )


def costs_frame(rows: Iterable[UnitRow], named: dict[Any, str], choice: Choice) -> pd.DataFrame:
    """Return one row a unit that has a season: cost with the interval it lies in, energy, efficiency, unmet load."""
    found = [
        {
            "unit": named[row.unit.pk],
            "kind": row.unit.get_kind_display(),
            "cost": season.cost.total,
            "cost_u": (season.cost_interval[1] - season.cost_interval[0]) / 2.0,
            "low": season.cost_interval[0],
            "high": season.cost_interval[1],
            "energy_kwh": season.season.energy_kwh,
            "efficiency": season.efficiency.value,
            "efficiency_u95": season.efficiency.u95,
            "unmet_kwh": season.season.unmet_kwh,
        }
        for row in list(rows)[:MOST_SEASONS]
        if (season := season_of(row, choice)) is not None
    ]
    return pd.DataFrame(found, columns=COLUMNS)
