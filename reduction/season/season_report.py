"""A season in a reader's own climate, from a result and a climate file, as a person reads it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from reduction.errors import NothingToReduce, Place
from reduction.loading import checked, read_json
from reduction.report import season_lines
from reduction.season.climate import climate_bins
from reduction.season.seasonal import load_line
from reduction.season.unit_season import OwnSeason, levels_of, own_season, standby_of
from reduction.session import Result, SeasonFigure, UnitKind

HINT = "`python -m reduction schema result` prints what may stand there."


def season_of_result(
    result: Result,
    climate: str,
    climate_name: str,
    *,
    kind: UnitKind,
    price_per_kwh: float,
    full_load_w: float,
    no_load_c: float,
    full_load_c: float,
    room_wet_bulb_c: float,
    standby_hours: float,
) -> OwnSeason:
    """Return the season of a result's unit in a climate, with a load straight between two outdoor temperatures.

    Raises
    ------
    UnreadableFile, UnreadableValue
        If the climate cannot be read.
    NothingToReduce
        If no point of the result is at full or reduced speed.
    """
    bins = climate_bins(climate, climate_name)
    found = own_season(
        levels_of(result.points, kind),
        bins,
        load_line(bins.outdoor_temp_c, no_load_c, full_load_c, full_load_w),
        room_wet_bulb_c=room_wet_bulb_c,
        price_per_kwh=price_per_kwh,
        standby=standby_of(result.points),
        standby_hours=standby_hours,
    )
    if found is None:
        raise _nothing_to_carry(result)
    return found


def _nothing_to_carry(result: Result) -> NothingToReduce:
    return NothingToReduce(
        place=Place(result.session_name),
        found="no point at full or reduced speed",
        expected="at least one usable point that published maps can carry to other temperatures",
        remedy="Test the unit in a room warm enough for full speed; see what limited each point.",
    )


def season_report(own: OwnSeason, published: Sequence[SeasonFigure] = ()) -> str:
    """Lay out an own season: efficiency with its inputs, energy, what was not met, cost; published figures after it."""
    season, cost = own.season, own.cost
    low, high = own.cost_interval
    lines = [
        season_lines(own.efficiency),
        f"Cooling delivered   {season.cooling_kwh:,.0f} kWh, not met {season.unmet_kwh:,.0f} kWh",
        f"Energy drawn        {cost.cooling_energy_kwh:,.0f} kWh and {cost.standby_energy_kwh:,.1f} kWh of standby "
        f"over {cost.standby_hours:,.0f} h",
        f"Cost of the season  {cost.total:,.2f} (between {low:,.2f} and {high:,.2f}) at {cost.price_per_kwh:g} a kWh",
    ]
    if published:
        lines += ["", "By published procedures, for climates and loads of their own"]
    return "\n".join([*lines, *(season_lines(figure) for figure in published)]) + "\n"


def load_result(path: Path) -> Result:
    """Read a result as `reduce --json` writes it.

    Raises
    ------
    UnreadableFile, InvalidSession
        If there is no such file or it is no result.
    """
    remedy = "Write one with `python -m reduction reduce SESSION.json --json FILE`."
    return checked(Result, read_json(path, "a result", remedy), str(path), HINT)
