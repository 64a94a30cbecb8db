"""A logged signal as pieces between edges, and its exact integral over any span.

Every kind of log becomes the same thing: edges in time, and between two edges either a known course (constant
or straight) or a gap with bounds. Sums kept at the edges then answer any window in one look-up.

Which course a kind gets, and why:

- *Held* (event log of a switched quantity): a report holds until the next one, or until it is stale. Straight
  lines would invent energy at each switching.
- *Nearest* (a switched quantity polled at instants): each sample stands for the half intervals on either side. The
  edge lay anywhere between two samples, so putting it in the middle has no bias and no lag; how far it may have
  lain from there is kept as a variance, (step × interval)²/12 per interval.
- *Straight* (temperatures and other slow quantities): lines between samples, also for event logs, where the held
  value would lag a steady drift by half the reporting threshold.
- *Interval means and counters*: constant over the interval that they are the mean of.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from reduction.counters import Counter

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Spans:
    """Integrals of a signal over spans, all of shape (m,), in the signal's unit times seconds where not said.

    `integral` over the known and the filled part, `known_s` and `filled_s` their durations [s], `low` and `high`
    the bounds of the integral over the whole span, `gap_variance` and `sampling_variance` of the integral.
    """

    integral: FloatArray
    known_s: FloatArray
    filled_s: FloatArray
    low: FloatArray
    high: FloatArray
    gap_variance: FloatArray
    sampling_variance: FloatArray


@dataclass(frozen=True, eq=False)
class Pieces:
    """A signal between edges.

    `edges_s` shape (m+1,); the rest shape (m,): `left` and `right` the values at the ends of a piece (a straight
    line between), `known` whether it was measured, `filled` whether an unknown piece may be taken as that line all
    the same, `low` and `high` bounds of an unknown piece, `sampling` the variance of a known piece's integral.
    `outside` bounds the signal before the first and after the last edge.
    """

    edges_s: FloatArray
    left: FloatArray
    right: FloatArray
    known: BoolArray
    filled: BoolArray
    low: FloatArray
    high: FloatArray
    sampling: FloatArray
    outside: tuple[float, float]

    @cached_property
    def _rates(self) -> tuple[FloatArray, ...]:
        used = np.where(self.known | self.filled, self.left, 0.0)
        length = np.diff(self.edges_s)
        bend = np.divide(np.where(self.known | self.filled, self.right - self.left, 0.0), 2 * length)
        half_width = np.where(self.known, 0.0, (self.high - self.low) / 2)
        half_width = np.where(self.filled & ~self.known, np.minimum(half_width, self._fill_half_width), half_width)
        gap_variance = (half_width * length) ** 2 / 3
        mean = (self.left + self.right) / 2
        return (
            used,
            bend,
            self.known.astype(float),
            (self.filled & ~self.known).astype(float),
            np.where(self.known, mean, self.low),
            np.where(self.known, mean, self.high),
            gap_variance / length,
            self.sampling / length,
        )

    @property
    def missing_s(self) -> FloatArray:
        """Durations of the gaps, shape (number of gaps,). [s]"""
        return np.diff(self.edges_s)[~self.known]

    @property
    def _fill_half_width(self) -> FloatArray:
        """How far a filled piece may lie from its line: the difference of its ends, at least 0.5 % of the level."""
        level = np.maximum(np.abs(self.left), np.abs(self.right))
        return np.asarray(np.maximum(np.abs(self.right - self.left), 0.005 * level), dtype=float)

    @cached_property
    def _sums(self) -> FloatArray:
        """Integrals from the first edge to each edge, shape (7, m+1)."""
        used, bend, *others = self._rates
        length = np.diff(self.edges_s)
        table = np.zeros((7, len(self.edges_s)))
        np.cumsum((used + bend * length) * length, out=table[0, 1:])
        for row, rate in enumerate(others, start=1):
            np.cumsum(rate * length, out=table[row, 1:])
        return table

    def _upto(self, time_s: FloatArray, rows: int = 7) -> FloatArray:
        """Integrals from the first edge to each time (held within the edges), shape (rows, n)."""
        inside = np.clip(time_s, self.edges_s[0], self.edges_s[-1])
        piece = np.clip(np.searchsorted(self.edges_s, inside, side="right") - 1, 0, len(self.left) - 1)
        since = inside - self.edges_s[piece]
        used, bend, *others = self._rates
        table = np.empty((rows, len(inside)))
        table[0] = self._sums[0, piece] + (used[piece] + bend[piece] * since) * since
        for row, rate in enumerate(others[: rows - 1], start=1):
            table[row] = self._sums[row, piece] + rate[piece] * since
        return table

    def over(self, start_s: FloatArray, end_s: FloatArray) -> Spans:
        """Integrals over spans that may lie anywhere, shapes (m,)."""
        table = self._upto(end_s) - self._upto(start_s)
        outside_s = (end_s - start_s) - (
            np.clip(end_s, self.edges_s[0], self.edges_s[-1]) - np.clip(start_s, self.edges_s[0], self.edges_s[-1])
        )
        low, high = self.outside
        return Spans(
            integral=table[0],
            known_s=table[1],
            filled_s=table[2],
            low=table[3] + low * outside_s,
            high=table[4] + high * outside_s,
            gap_variance=table[5] + ((high - low) * outside_s) ** 2 / 12,
            sampling_variance=table[6],
        )

    def cell_means(self, edges_s: FloatArray) -> FloatArray:
        """Means over the cells between edges, shape (len(edges) − 1,); NaN where less than half is known."""
        table = np.diff(self._upto(edges_s, rows=3))
        covered = table[1] + table[2]
        enough = covered >= 0.5 * np.diff(edges_s)
        mean: FloatArray = np.divide(table[0], covered, out=np.full(len(covered), np.nan), where=enough)
        return mean


def _unsampled(edges: FloatArray) -> FloatArray:
    return np.zeros(len(edges) - 1)


def empty() -> Pieces:
    """Pieces of a series without one usable sample: nothing known anywhere."""
    none = np.zeros(1)
    return Pieces(np.array([0.0, 1.0]), none, none, none > 0, none > 0, none, none, none, (0.0, 0.0))


def typical_interval_s(time_s: FloatArray) -> float:
    """Median distance of two samples. [s]"""
    return float(np.median(np.diff(time_s))) if len(time_s) > 1 else 1.0


def _dwell_s(edges_s: FloatArray, values: FloatArray, low: float, high: float) -> float:
    """Short end of the times the signal stays on one side of its middle: the lower quartile. [s]"""
    if high - low <= 0.2 * abs(high):
        return np.inf
    turns = np.flatnonzero(np.diff(values > (low + high) / 2)) + 1
    stays = np.diff(edges_s[turns])
    return float(np.quantile(stays, 0.25)) if len(stays) >= 2 else np.inf


def held(time_s: FloatArray, values: FloatArray, stale_after_s: float) -> Pieces:
    """Step-hold: each report until the next or until stale; NaN is a gap from its own stamp on.

    A gap with the same level on both sides, shorter than the signal usually stays on one level, is filled with
    that level; its bounds stay nought and the highest value seen.
    """
    ends = np.append(time_s[1:], time_s[-1] + stale_after_s)
    until = np.minimum(ends, time_s + stale_after_s)
    edges, index = _interleave(time_s, until, ends)
    starts_piece = index >= 0
    sample = np.where(starts_piece, index, -index - 1)
    value = values[sample]
    return _switched(edges, value, starts_piece & ~np.isnan(value), np.zeros(len(value)))


def _interleave(start: FloatArray, until: FloatArray, end: FloatArray) -> tuple[FloatArray, NDArray[np.int64]]:
    """Edges of pieces start→until (index i) followed, where there is room, by a gap until→end (index −i−1)."""
    number = np.arange(len(start))
    gap = until < end
    edges = np.column_stack([start, until])
    index = np.column_stack([number, -number - 1])
    keep = np.column_stack([np.ones(len(start), bool), gap])
    return np.append(edges[keep], end[-1]), index[keep]


def nearest(time_s: FloatArray, values: FloatArray, stale_after_s: float) -> Pieces:
    """Each sample over the half intervals beside it; a silence longer than the limit is a gap."""
    kept = ~np.isnan(values)
    time_s, values = time_s[kept], values[kept]
    if not len(time_s):
        return empty()
    half = min(typical_interval_s(time_s), stale_after_s) / 2
    interval = np.diff(time_s)
    silent = interval > stale_after_s
    middle = time_s[:-1] + interval / 2  # computed once: the two neighbours must meet to the last bit
    until = np.append(np.where(silent, time_s[:-1] + half, middle), time_s[-1] + half)
    start = np.concatenate([[time_s[0] - half], np.where(silent, time_s[1:] - half, middle)])
    edges, index = _interleave(start, until, np.append(start[1:], until[-1]))
    known = index >= 0
    sample = np.where(known, index, -index - 1)
    step_variance = np.where(silent, 0.0, (np.diff(values) * interval) ** 2 / 12)
    sampling = np.zeros(len(values))
    sampling[:-1] += step_variance / 2
    sampling[1:] += step_variance / 2
    return _switched(edges, values[sample], known, np.where(known, sampling[sample], 0.0))


def _switched(edges: FloatArray, value: FloatArray, known: BoolArray, sampling: FloatArray) -> Pieces:
    """Pieces of a switched quantity: gaps are filled where both sides agree, and bounded by 0 and the maximum."""
    if not known.any():
        return empty()
    top, bottom = float(np.max(value[known])), min(0.0, float(np.min(value[known])))
    numbers = np.arange(len(value))
    before = np.maximum.accumulate(np.where(known, numbers, -1))
    after = np.minimum.accumulate(np.where(known, numbers, len(value))[::-1])[::-1]
    bounded = (before >= 0) & (after < len(value))
    left = np.where(bounded, value[np.maximum(before, 0)], np.nan)
    right = np.where(bounded, value[np.minimum(after, len(value) - 1)], np.nan)
    first, last = np.maximum(before, 0), np.minimum(after, len(value) - 1)
    gap_s = edges[last] - edges[np.minimum(first + 1, len(value))]
    agree = np.abs(right - left) <= np.maximum(5.0, 0.03 * np.abs(left))
    filled = ~known & bounded & agree & (gap_s <= _dwell_s(edges[:-1][known], value[known], bottom, top))
    course = np.where(known, value, np.where(filled, left, 0.0))
    gap = ~known
    return Pieces(
        edges, course, course, known, filled, np.where(gap, bottom, course), np.where(gap, top, course), sampling,
        (bottom, top),
    )  # fmt: skip


def straight(time_s: FloatArray, values: FloatArray, stale_after_s: float) -> Pieces:
    """Lines between samples; across a longer silence the line stands in, bounded by how far the signal moves."""
    kept = ~np.isnan(values)
    time_s, values = time_s[kept], values[kept]
    if not len(time_s):
        return empty()
    if len(time_s) == 1:
        half = stale_after_s / 2
        time_s, values = np.array([time_s[0] - half, time_s[0] + half]), np.repeat(values, 2)
    half = min(typical_interval_s(time_s), stale_after_s) / 2  # the first and last sample stand for this much more
    time_s = np.concatenate([[time_s[0] - half], time_s, [time_s[-1] + half]])
    values = np.concatenate([values[:1], values, values[-1:]])
    interval = np.diff(time_s)
    known = interval <= stale_after_s
    left, right = values[:-1], values[1:]
    moves = np.zeros(len(interval))
    for gap in np.flatnonzero(~known)[:200]:
        moves[gap] = _usual_move(time_s, values, float(interval[gap]))
    low, high = np.minimum(left, right) - moves, np.maximum(left, right) + moves
    bounds = float(np.min(values)), float(np.max(values))
    return Pieces(time_s, left, right, known, ~known, low, high, _unsampled(time_s), bounds)


def _usual_move(time_s: FloatArray, values: FloatArray, span_s: float) -> float:
    """How far the signal moves in a span: the 95 % quantile of its own changes over that span."""
    starts = np.linspace(time_s[0], max(time_s[0], time_s[-1] - span_s), 200)
    change = np.abs(np.interp(starts + span_s, time_s, values) - np.interp(starts, time_s, values))
    return float(np.quantile(change, 0.95))


def interval_means(end_s: FloatArray, values: FloatArray) -> Pieces:
    """Means of the interval that ends at each stamp; after a silence only the usual length is covered."""
    usual = typical_interval_s(end_s)
    before = np.concatenate([[end_s[0] - usual], end_s[:-1]])
    start = np.where(end_s - before > 1.5 * usual, end_s - usual, before)
    edges, index = _interleave(start, end_s, np.append(start[1:], end_s[-1]))
    sample = np.where(index >= 0, index, -index - 1)
    return _switched(edges, values[sample], (index >= 0) & ~np.isnan(values[sample]), np.zeros(len(sample)))


def counted(counter: Counter) -> Pieces:
    """Mean power between the readings of a counter; what a reset may have hidden is a gap with its bounds."""
    begin, end, seen_from = counter.time_s[:-1], counter.time_s[1:], counter.seen_from_s
    if not len(begin):
        return empty()
    edges = np.column_stack([begin, seen_from])
    lengths = np.column_stack([seen_from - begin, end - seen_from])
    energy = np.column_stack([np.zeros(len(begin)), counter.energy])
    unseen = np.column_stack([counter.unseen, np.zeros(len(begin))])
    keep = lengths > 0
    rate, hidden = energy[keep] / lengths[keep], unseen[keep] / lengths[keep]
    known = np.column_stack([np.zeros(len(begin), bool), np.ones(len(begin), bool)])[keep]
    nothing = np.zeros(len(rate))
    top = float(np.max(rate, initial=0.0))
    return Pieces(
        np.append(edges[keep], end[-1]), rate, rate, known, nothing > 0, np.where(known, rate, 0.0),
        np.where(known, rate, hidden), nothing, (0.0, top),
    )  # fmt: skip
