"""Every channel on one clock, with exact means over any span and an aligned grid to look at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from reduction.align.series import EnergyOver, MeanOver, Series, energy_over, look_up_means, mean_over, means_over
from reduction.session import Role, Settings

__all__ = [
    "EnergyOver",
    "GroupMean",
    "MeanOver",
    "Series",
    "Slope",
    "Timeline",
    "align",
    "end_values",
    "energy_over",
    "group_cells",
    "group_mean",
    "look_up_means",
    "mean_over",
    "means_over",
    "remembered",
    "slope_over",
]

FloatArray = NDArray[np.float64]
P = ParamSpec("P")
T = TypeVar("T")

MOST_CELLS = 200_000  # of a grid; a longer log gets wider cells


@dataclass(frozen=True, eq=False)
class Timeline:
    """All series of a session on one grid.

    `grid_s` holds the left edges of equal cells of `step_s`, shape (n,); `cells[key]` the mean of that series
    over each cell, shape (n,), NaN where less than half of the cell is known. `left_out` are the keys of series
    that no mean may use, because a fault was plain; they are still here to be looked at.
    """

    grid_s: FloatArray
    step_s: float
    series: dict[str, Series]
    cells: dict[str, FloatArray]
    settings: Settings = field(default_factory=Settings)
    left_out: frozenset[str] = frozenset()

    def of(self, *roles: Role) -> tuple[Series, ...]:
        """The series with one of these roles, without those left out, in the order of the session."""
        return tuple(s for s in self.series.values() if s.role in roles and s.key not in self.left_out)

    @cached_property
    def answers(self) -> dict[tuple[object, ...], Any]:
        """What `remembered` functions have said of this timeline; nobody writes into an answer."""
        return {}

    @property
    def edges_s(self) -> FloatArray:
        """Edges of the cells, shape (n+1,). [s]"""
        return np.append(self.grid_s, self.grid_s[-1] + self.step_s)

    @property
    def start_s(self) -> float:
        """Left edge of the first cell. [s]"""
        return float(self.grid_s[0])

    @property
    def end_s(self) -> float:
        """Right edge of the last cell. [s]"""
        return float(self.grid_s[-1] + self.step_s)


def align(
    series: tuple[Series, ...], settings: Settings | None = None, left_out: frozenset[str] = frozenset()
) -> Timeline:
    """Lay all series on one grid, each integrated on its own times.

    Parameters
    ----------
    series
        As `channels.series_of` gives them.
    settings
        `grid_s` sets the width of the cells; a log too long for that gets wider ones.
    left_out
        Keys that no mean may use.

    Examples
    --------
    >>> from reduction.session import SampleKind
    >>> room = Series("room", "f.csv", "room", Role.ROOM_TEMP, "", SampleKind.INSTANT, np.array([0.0, 20.0]),
    ...     np.array([22.0, 24.0]), None, 0.0, 60.0)
    >>> align((room,)).cells["room"].tolist()
    [22.5, 23.5]
    """
    settings = settings or Settings()
    used = [s for s in series if len(s.time_s)]
    first = min((float(s.time_s[0]) for s in used), default=0.0)
    last = max((float(s.time_s[-1]) for s in used), default=first)
    step = max(settings.grid_s, float(np.ceil((last - first) / MOST_CELLS)))
    start = np.floor(first / step) * step
    grid = start + step * np.arange(max(1, int(np.ceil((last - start) / step))))
    edges = np.append(grid, grid[-1] + step)
    cells = {s.key: s.pieces.cell_means(edges) for s in series}
    return Timeline(grid, step, {s.key: s for s in series}, cells, settings, left_out)


@dataclass(frozen=True)
class GroupMean:
    """Mean of several series of one role over a window.

    `value` is the plain mean of the members' means; `spread` their sample standard deviation (0 for one), so
    `spread/√n` is what mixing leaves in the mean. `worst` is the member with the least known.
    """

    value: float
    spread: float
    members: tuple[MeanOver, ...]
    keys: tuple[str, ...]

    @property
    def known_fraction(self) -> float:
        """Of the member that knows least."""
        return min((m.known_fraction for m in self.members), default=0.0)

    @property
    def u_gap(self) -> float:
        """Standard uncertainty of the mean from gaps, the members' gaps taken as common."""
        return float(np.mean([m.u_gap for m in self.members])) if self.members else 0.0


def group_mean(series: tuple[Series, ...], start_s: float, end_s: float) -> GroupMean:
    """Mean of series that measure the same thing, such as the room sensors; NaN when none is known."""
    found = [(s.key, mean_over(s, start_s, end_s)) for s in series]
    known = [(key, mean) for key, mean in found if np.isfinite(mean.value)]
    values = np.array([mean.value for _, mean in known])
    return GroupMean(
        value=float(values.mean()) if len(values) else float("nan"),
        spread=float(values.std(ddof=1)) if len(values) > 1 else 0.0,
        members=tuple(mean for _, mean in known),
        keys=tuple(key for key, _ in known),
    )


def remembered(function: Callable[Concatenate[Timeline, P], T]) -> Callable[Concatenate[Timeline, P], T]:
    """Let a pure function of a timeline work once for the same arguments; the answer lives as long as the timeline."""

    @wraps(function)
    def once(timeline: Timeline, /, *args: P.args, **kwargs: P.kwargs) -> T:
        key = (function.__module__, function.__qualname__, *args, *kwargs.items())
        if key not in timeline.answers:
            timeline.answers[key] = function(timeline, *args, **kwargs)
        return cast("T", timeline.answers[key])

    return once


@remembered
def group_cells(timeline: Timeline, *roles: Role) -> FloatArray:
    """Mean of all series of these roles on the grid, shape (n,).

    A member's own offset is kept out of gaps: where one is missing, the others are shifted by what they usually
    differ from the mean, so a gap in one sensor makes no step in the mean.
    """
    members = timeline.of(*roles)
    if not members:
        return np.full(len(timeline.grid_s), np.nan)
    table = np.array([timeline.cells[s.key] for s in members])
    present = np.isfinite(table)
    complete = present.all(axis=0)
    if complete.any() and not complete.all():
        offset = table[:, complete].mean(axis=1) - table[:, complete].mean()
        table = table - offset[:, None]
    count = present.sum(axis=0)
    total = np.where(present, table, 0.0).sum(axis=0)
    mean: FloatArray = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
    return mean


@dataclass(frozen=True)
class Slope:
    """Slope of the least-squares line through a signal, with the residuals about it."""

    per_s: float
    residual_rms: float
    n: int


def slope_over(timeline: Timeline, cells: FloatArray, start_s: float, end_s: float, cycle_s: float = 0.0) -> Slope:
    """Least-squares slope of a grid signal over a window.

    With `cycle_s` the signal is first averaged over that time (a whole number of cells), so that a thermostat's
    ripple does not tilt the line: a saw-tooth cut at its phase has a slope of its own.

    Parameters
    ----------
    cells
        A signal on the grid, shape (n,), NaN where unknown.
    start_s, end_s
        The window. [s]
    cycle_s
        Period to average over first, 0 for none. [s]
    """
    inside = (timeline.grid_s >= start_s - timeline.step_s / 2) & (timeline.grid_s < end_s - timeline.step_s / 2)
    time, value = timeline.grid_s[inside] + timeline.step_s / 2, cells[inside]
    width = round(cycle_s / timeline.step_s)
    known = np.isfinite(value)
    time, value = time[known], value[known]
    if 1 < width <= len(value) // 2:
        kernel = np.full(width, 1 / width)
        time, value = np.convolve(time, kernel, "valid"), np.convolve(value, kernel, "valid")
    if len(value) < 3:
        return Slope(float("nan"), float("nan"), len(value))
    since = time - time.mean()
    slope = float(since @ value / (since @ since))
    residual = value - value.mean() - slope * since
    return Slope(slope, float(np.sqrt(np.mean(residual**2))), len(value))


def end_values(
    timeline: Timeline, cells: FloatArray, start_s: float, end_s: float, smooth_s: float
) -> tuple[float, float]:
    """A grid signal at both ends of a window, each a mean over `smooth_s` centred on the end (cut at the data).

    With whole cycles between the ends and `smooth_s` a whole number of cycles the ripple cancels.
    """
    half_s = max(smooth_s, timeline.step_s) / 2
    ends = []
    for at in (start_s - timeline.step_s / 2, end_s - timeline.step_s / 2):
        near = cells[timeline.grid_s.searchsorted(at - half_s) : timeline.grid_s.searchsorted(at + half_s, "right")]
        known = near[np.isfinite(near)]
        ends.append(float(known.mean()) if len(known) else float("nan"))
    return ends[0], ends[1]
