"""Levels of unit power: where it steps, and the plateaus between the steps.

Steps are found by a matched filter of our own: the mean of the three minutes after a cell less the mean of the
three before, and its peaks. A library for change points (optimal partitioning) was weighed and not taken: it fits
constant segments, so it cuts the slow climb of power with outdoor temperature into false levels, it needs a
penalty tuned per logger, and it is slower than two cumulative sums. What it would add, steps closer together than
three minutes, is no plateau to average over.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline, group_cells, remembered
from reduction.session import Level, Role
from reduction.windows.cycles import unit_cycle

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FILTER_S = 180.0
LEAST_STEP_W = 15.0  # common practice, no source: below it a step is fan or electronics
LEAST_STEP_SHARE = 0.04  # of the level
LEAST_PLATEAU_S = 300.0
SURE = 6.0  # standard deviations of the filter's noise


def filled(values: FloatArray) -> FloatArray:
    """A grid signal with its gaps bridged by lines, so that filters have no holes; all NaN stays NaN."""
    known = np.isfinite(values)
    if not known.any() or known.all():
        return values
    numbers = np.arange(len(values))
    return np.interp(numbers, numbers[known], values[known])


def step_sizes(values: FloatArray, width: int) -> FloatArray:
    """Mean of the `width` cells from each cell on, less the mean of the `width` cells before it, shape (n,)."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    numbers = np.arange(len(values))
    low, high = np.maximum(numbers - width, 0), np.minimum(numbers + width, len(values))
    after = (sums[high] - sums[numbers]) / (high - numbers)
    before = (sums[numbers] - sums[low]) / np.maximum(numbers - low, 1)
    return np.where(numbers > 0, after - before, 0.0)


def steps(values: FloatArray, width: int, least: FloatArray | float) -> IntArray:
    """Cells where a signal steps by at least `least`: peaks of the matched filter, one per `width`.

    Parameters
    ----------
    values
        Signal on the grid without holes, shape (n,).
    width
        Cells on either side.
    least
        Smallest step that counts, a number or shape (n,); at least six times the filter's noise is asked as well.

    Examples
    --------
    >>> steps(np.repeat([300.0, 520.0, 740.0], 100), 18, 15.0).tolist()
    [100, 200]
    """
    if len(values) < 4 or not np.isfinite(values).all():
        return np.zeros(0, dtype=np.int64)
    noise = float(np.median(np.abs(np.diff(values)))) / 0.6745 / np.sqrt(2)
    size = np.abs(step_sizes(values, width))
    size = np.where(size >= np.maximum(least, SURE * noise * np.sqrt(2 / width)), size, 0.0)
    found: list[int] = []
    for at in np.flatnonzero((size > 0) & (size >= np.roll(size, 1)) & (size >= np.roll(size, -1))):
        if found and at - found[-1] < width:
            found[-1] = int(at) if size[at] > size[found[-1]] else found[-1]
        else:
            found.append(int(at))
    return np.array(found, dtype=np.int64)


@remembered
def power_steps(timeline: Timeline) -> IntArray:
    """Cells where unit power steps from one level to another."""
    power = filled(group_cells(timeline, Role.UNIT_POWER))
    width = max(2, round(FILTER_S / timeline.step_s))
    return steps(power, width, np.maximum(LEAST_STEP_W, LEAST_STEP_SHARE * np.abs(power)))


@dataclass(frozen=True)
class _Plateau:
    first: int
    last: int
    power_w: float


def _plateaus(timeline: Timeline) -> list[_Plateau]:
    power = group_cells(timeline, Role.UNIT_POWER)
    cuts = np.concatenate([[0], power_steps(timeline), [len(power)]])
    least = max(2, round(LEAST_PLATEAU_S / timeline.step_s))
    found = []
    for first, last in pairwise(cuts):
        inside = power[first:last]
        if last - first >= least and np.isfinite(inside).sum() >= least / 2:
            found.append(_Plateau(int(first), int(last), float(np.nanmedian(inside))))
    return found


def _labels(powers: list[float]) -> list[str]:
    """Names by rank: powers within the least step of a neighbour are one level."""
    ordered = sorted(powers)
    groups: list[list[float]] = []
    for power in ordered:
        if groups and power - groups[-1][-1] < max(LEAST_STEP_W, LEAST_STEP_SHARE * power):
            groups[-1].append(power)
        else:
            groups.append([power])
    rank = {power: number for number, group in enumerate(groups, start=1) for power in group}
    mean = {number: sum(group) / len(group) for number, group in enumerate(groups, start=1)}
    return [f"level {rank[p]} of {len(groups)}, {mean[rank[p]]:.0f} W" for p in powers]


def levels(timeline: Timeline) -> tuple[Level, ...]:
    """Plateaus of unit power in order of time, each labelled with its level by rank.

    A unit that cycles on its own thermostat gives one entry for the time it cycles, with its mean power, since its
    on-times are no plateaus. `share_of_time` is of the time the timeline spans.

    Examples
    --------
    >>> from reduction.align.series import Series
    >>> from reduction.session import SampleKind
    >>> from reduction.align.timeline import align
    >>> power = Series("u", "f.csv", "u", Role.UNIT_POWER, "", SampleKind.INSTANT, np.arange(0.0, 5400.0, 10.0),
    ...     np.repeat([300.0, 520.0, 740.0], 180), None, 0.0, 60.0)
    >>> [(level.label, round(level.share_of_time, 2)) for level in levels(align((power,)))]
    [('level 1 of 3, 300 W', 0.33), ('level 2 of 3, 520 W', 0.33), ('level 3 of 3, 740 W', 0.33)]
    """
    if not timeline.of(Role.UNIT_POWER):
        return ()
    whole = timeline.end_s - timeline.start_s
    cycle = unit_cycle(timeline, timeline.start_s, timeline.end_s)
    if cycle and cycle.up_s[-1] - cycle.up_s[0] > 0.5 * whole:
        first, last = float(cycle.up_s[0]), float(cycle.up_s[-1])
        mean = cycle.off_w + cycle.duty * cycle.swing_w
        label = f"cycling, {cycle.duty:.0%} on at {cycle.on_w:.0f} W"
        return (
            Level(label=label, start=_utc(first), end=_utc(last), power_w=mean, share_of_time=(last - first) / whole),
        )
    plateaus = _plateaus(timeline)
    return tuple(
        Level(
            label=label,
            start=_utc(timeline.edges_s[plateau.first]),
            end=_utc(timeline.edges_s[plateau.last]),
            power_w=plateau.power_w,
            share_of_time=(plateau.last - plateau.first) * timeline.step_s / whole,
        )
        for plateau, label in zip(plateaus, _labels([p.power_w for p in plateaus]), strict=True)
    )


def _utc(time_s: float) -> datetime:
    return datetime.fromtimestamp(float(time_s), UTC)
