"""One unit's season in a climate, room and price that a program states, beside what published procedures give."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from reduction.errors import NothingToReduce, Place
from reduction.season.climate import climate_bins
from reduction.season.seasonal import load_line, published_bins
from reduction.season.unit_season import OwnSeason, levels_of_rated, own_season
from units.compare.season import procedure_figures_of, rated_points

if TYPE_CHECKING:
    from reduction.session import SeasonFigure
    from units.compare.points import UnitRow


@dataclass(frozen=True)
class UnitSeasons:
    """The reader's own season and the published ones."""

    own: OwnSeason
    published: tuple[SeasonFigure, ...]

    def as_data(self) -> dict[str, Any]:
        """Return both with every quantity's unit in its name or beside it."""
        low, high = self.own.cost_interval
        return {
            "efficiency": self.own.efficiency.model_dump(mode="json"),
            **asdict(self.own.season),
            "standby_kwh": self.own.cost.standby_energy_kwh,
            "price_per_kwh": self.own.cost.price_per_kwh,
            "cost": self.own.cost.total,
            "cost_low": low,
            "cost_high": high,
            "published": [figure.model_dump(mode="json") for figure in self.published],
        }


def season_in(
    row: UnitRow,
    *,
    climate: str,
    table: str,
    no_load_c: float,
    full_load_c: float,
    full_load_w: float,
    room_wet_bulb_c: float,
    price_per_kwh: float,
    standby_hours: float,
) -> UnitSeasons:
    """Work out a unit's season; `table` is the text of a climate file or of bins, and goes before a named climate.

    Raises
    ------
    ReductionError
        If the climate cannot be read, or no point can be carried to it.
    """
    bins = climate_bins(table, "the climate sent") if table else published_bins(climate)
    own = own_season(
        levels_of_rated(rated_points(row)),
        bins,
        load_line(bins.outdoor_temp_c, no_load_c, full_load_c, full_load_w),
        room_wet_bulb_c=room_wet_bulb_c,
        price_per_kwh=price_per_kwh,
        standby_hours=standby_hours,
    )
    if own is None:
        raise NothingToReduce(
            place=Place(str(row.unit)),
            found="no point at full or reduced speed",
            expected="at least one usable point that published maps can carry to other temperatures",
            remedy="Test the unit in a room warm enough for full speed; see what limited each point.",
        )
    return UnitSeasons(own, procedure_figures_of(row))
