"""How steady a stretch of time is: block means of the quantities that matter, against limits that are data.

A block is one whole cycle of whatever switches (heater or unit) or else a minute or more of time. Means over whole
cycles carry no ripple, so slopes and deviations are those of the room, not of its thermostat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline, group_cells, remembered
from reduction.ground.tables import table
from reduction.session import Evidence, Role
from reduction.windows.cycles import Cycle

FloatArray = NDArray[np.float64]

QUANTITIES: dict[str, tuple[Role, ...]] = {
    "room_temp": (Role.ROOM_TEMP,),
    "room_rh": (Role.ROOM_RH,),
    "supply_temp": (Role.SUPPLY_TEMP,),
    "condenser_inlet": (Role.CONDENSER_INLET_TEMP,),
    "unit_power": (Role.UNIT_POWER,),
}
STAND_INS: dict[str, tuple[Role, ...]] = {"room_temp": (Role.RETURN_TEMP,), "condenser_inlet": (Role.OUTDOOR_TEMP,)}
CHECKS: tuple[tuple[str, str, str], ...] = (
    ("room_temp_slope", "room_temp", "slope"),
    ("room_temp_deviation", "room_temp", "deviation"),
    ("room_rh_deviation", "room_rh", "deviation"),
    ("supply_temp_slope", "supply_temp", "slope"),
    ("condenser_inlet_deviation", "condenser_inlet", "deviation"),
    ("unit_power_cv", "unit_power", "variation"),
)
OFF_POWER_W = 20.0  # below it a unit is off or on standby and its variation means nothing; common practice


@dataclass(frozen=True)
class Tolerance:
    """One limit of steadiness, with where it comes from and what it was widened from."""

    quantity: str
    title: str
    limit: float
    quantity_unit: str
    source: str
    widened_from: float | None = None

    def judged(self, value: float, *, at_least: bool = False) -> Evidence:
        """Evidence that a value keeps this limit (at most it, or at least it)."""
        passed = value >= self.limit - 1e-9 if at_least else value <= self.limit + 1e-9
        widened = f"; widened from {self.widened_from:g} {self.quantity_unit}" if self.widened_from else ""
        return Evidence(
            quantity=self.title, value=float(value), limit=self.limit, quantity_unit=self.quantity_unit,
            passed=bool(passed), source=self.source + widened,
        )  # fmt: skip


Limits = dict[str, Tolerance]


def default_limits() -> Limits:
    """The limits of `data/steady_tolerances.csv` by quantity.

    Examples
    --------
    >>> default_limits()["condenser_inlet_deviation"].widened_from
    0.5
    """
    return {
        row["quantity"]: Tolerance(
            quantity=row["quantity"],
            title=row["title"],
            limit=float(row["limit"]),
            quantity_unit=row["quantity_unit"],
            source=row["source"],
            widened_from=float(row["widened_from"]) if row["widened_from"] else None,
        )
        for row in table("steady_tolerances")
    }


@dataclass(frozen=True, eq=False)
class Blocks:
    """Block means of a stretch: `edges_s` shape (n+1,), `means[name]` shape (n,)."""

    edges_s: FloatArray
    means: dict[str, FloatArray]

    @property
    def lengths_s(self) -> FloatArray:
        """Durations of the blocks. [s]"""
        return np.diff(self.edges_s)


def blocks_of(timeline: Timeline, edges_s: FloatArray) -> Blocks:
    """Means of every quantity of steadiness over the blocks between edges."""
    means: dict[str, FloatArray] = {}
    for name, roles in QUANTITIES.items():
        chosen = roles if timeline.of(*roles) else STAND_INS.get(name, ())
        if chosen and timeline.of(*chosen):
            means[name] = _block_means(timeline, chosen, edges_s)
    return Blocks(edges_s, means)


def least_known(timeline: Timeline, edges_s: FloatArray) -> FloatArray:
    """Smallest known fraction of the powers and the room temperature in each block between edges, shape (n,)."""
    known = np.ones(len(edges_s) - 1)
    for series in timeline.of(Role.UNIT_POWER, Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER, Role.ROOM_TEMP):
        known = np.minimum(known, series.pieces.over(edges_s[:-1], edges_s[1:]).known_s / np.diff(edges_s))
    return known


@remembered
def _sums(timeline: Timeline, *roles: Role) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Edges of the cells, and up to each the sum of what is known and how many cells are."""
    cells = group_cells(timeline, *roles)
    known = np.isfinite(cells)
    sums, counts = (np.append(0.0, np.cumsum(each)) for each in (np.where(known, cells, 0.0), known))
    return timeline.edges_s, sums, counts


def _block_means(timeline: Timeline, roles: tuple[Role, ...], edges_s: FloatArray) -> FloatArray:
    cell_edges_s, sums, counts = _sums(timeline, *roles)
    total, count = (np.diff(np.interp(edges_s, cell_edges_s, each)) for each in (sums, counts))
    mean: FloatArray = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 1e-6)
    return mean


def block_edges(start_s: float, end_s: float, cycle: Cycle | None, most: int, least_s: float = 60.0) -> FloatArray:
    """Edges of blocks in a stretch: a cycle's switchings-on, or equal parts; at most `most` blocks.

    With fewer than three whole cycles inside, the stretch is cut into equal parts.
    """
    if cycle is not None:
        ups = cycle.up_s[(cycle.up_s >= start_s - 1e-6) & (cycle.up_s <= end_s + 1e-6)]
        every = max(1, int(np.ceil(max(len(ups) / most, least_s / cycle.period_s))))
        if len(ups[::every]) >= 4:
            return ups[::every]
    parts = int(np.clip((end_s - start_s) / least_s, 3, most))
    return np.linspace(start_s, end_s, parts + 1)


def slopes_per_h(time_s: FloatArray, weight: FloatArray, value: FloatArray, firsts: int | None = None) -> FloatArray:
    """Weighted least-squares slope of blocks i…j for all pairs at once, shape (n, n), [i, j]; NaN for i ≥ j.

    With `firsts`, here and below, only for so many first blocks i: 1 gives the slopes from the start, shape (1, n).

    Examples
    --------
    >>> round(float(slopes_per_h(np.array([0.0, 1800, 3600]), np.ones(3), np.array([22.0, 22.1, 22.2]))[0, 2]), 6)
    0.2
    """
    time = (time_s - time_s[0]) / 3600.0
    columns = np.stack([weight, weight * time, weight * time**2, weight * value, weight * time * value])
    sums = np.concatenate([np.zeros((5, 1)), np.cumsum(columns, axis=1)], axis=1)
    w, t, tt, x, tx = (row[None, 1:] - row[:-1, None][:firsts] for row in sums)
    spread = w * tt - t * t
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (w * tx - t * x) / spread
    return np.where(np.triu(np.ones(slope.shape, bool), 1), slope, np.nan)


def deviations(weight: FloatArray, value: FloatArray, firsts: int | None = None) -> FloatArray:
    """Largest distance of a block i…j from their mean, for all pairs, shape (n, n); 0 below the diagonal."""
    mean = pair_means(weight, value, firsts)
    upper = np.triu(np.ones(mean.shape, bool)) & (weight > 0)[None, :]
    high = np.maximum.accumulate(np.where(upper, value[None, :], -np.inf), axis=1)
    low = np.minimum.accumulate(np.where(upper, value[None, :], np.inf), axis=1)
    return np.maximum(np.maximum(high - mean, mean - low), 0.0)


def pair_means(weight: FloatArray, value: FloatArray, firsts: int | None = None) -> FloatArray:
    """Weighted mean of blocks i…j for all pairs, shape (n, n); meaningless below the diagonal."""
    sums = np.concatenate([np.zeros((2, 1)), np.cumsum([weight, weight * value], axis=1)], axis=1)
    w, x = (row[None, 1:] - row[:-1, None][:firsts] for row in sums)
    mean: FloatArray = np.divide(x, w, out=np.zeros_like(x), where=np.abs(w) > 1e-9)
    return mean


def variations_percent(weight: FloatArray, value: FloatArray, firsts: int | None = None) -> FloatArray:
    """Coefficient of variation of blocks i…j for all pairs, shape (n, n); 0 where the unit is off. [%]"""
    mean, square = pair_means(weight, value, firsts), pair_means(weight, value**2, firsts)
    deviation = np.sqrt(np.maximum(0.0, square - mean**2))
    cv: FloatArray = np.divide(100 * deviation, mean, out=np.zeros_like(mean), where=mean > OFF_POWER_W)
    return cv


def statistics(blocks: Blocks, firsts: int | None = None) -> dict[str, FloatArray]:
    """Every statistic of `CHECKS` for all pairs of blocks, shape (n, n) each; unknown blocks have no weight."""
    centre = (blocks.edges_s[1:] + blocks.edges_s[:-1]) / 2
    found = {}
    for quantity, name, statistic in CHECKS:
        if name not in blocks.means:
            continue
        present = np.isfinite(blocks.means[name])
        weight = np.where(present, blocks.lengths_s, 0.0)
        value = np.where(present, blocks.means[name], 0.0)
        if statistic == "slope":
            found[quantity] = np.abs(slopes_per_h(centre, weight, value, firsts))
        elif statistic == "deviation":
            found[quantity] = deviations(weight, value, firsts)
        else:
            found[quantity] = variations_percent(weight, value, firsts)
    return found
