"""From a log of each kind to the course of its signal: pieces between edges, with gaps and their bounds.

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

import numpy as np

from reduction.align.counters import Counter
from reduction.align.pieces import BoolArray, FloatArray, Gaps, IntArray, Pieces
from reduction.align.shared import once_for_arrays
from reduction.session import SampleKind

SAME_LEVEL_W, SAME_LEVEL_SHARE = 5.0, 0.03  # two sides of a gap that differ by less agree: usual reporting thresholds
SURE_SHARE = 0.005  # of its level that a filled gap may be off; a judgement, no source
SHORTEST_GAP_S = 60.0  # common practice: a logger that misses one report has no gap
MOST_MOVES = 200  # gaps for which the signal's own movement is looked up; any more take the largest of those
NONE, NO_FLAGS = np.zeros(0), np.zeros(0, dtype=bool)
NO_GAPS = Gaps(np.zeros(0, dtype=np.int64), NO_FLAGS, NONE, NONE, NONE)


def empty() -> Pieces:
    """Pieces of a series without one usable sample: one gap, nothing known anywhere."""
    zero = np.zeros(1)
    gap = Gaps(np.zeros(1, dtype=np.int64), zero > 0, zero, zero, zero)
    return Pieces(np.array([0.0, 1.0]), zero, zero, gap, (0.0, 0.0))


@once_for_arrays
def typical_interval_s(time_s: FloatArray) -> float:
    """Median distance of two samples. [s]"""
    if len(time_s) < 2:
        return 1.0
    interval = np.diff(time_s)
    even = interval[0] == interval.max() == interval.min()  # as most are, and then there is nothing to sort
    return float(interval[0] if even else np.median(interval))


def silence_limit_s(time_s: FloatArray, kind: SampleKind, stale_after_s: float) -> float:
    """How long a channel may be silent before that is a gap. [s]

    An event log may be silent for `stale_after_s`, or for two and a half of its own heartbeats where it has
    them. A logger that polls at a steady pace has a gap after five missing samples, and at the latest after
    `stale_after_s`; one that polls still more slowly after one missing sample.

    Examples
    --------
    >>> poll = np.arange(0.0, 3600.0, 10.0)
    >>> silence_limit_s(poll, SampleKind.INSTANT, 900.0), silence_limit_s(poll, SampleKind.HELD, 900.0)
    (60.0, 900.0)
    """
    if len(time_s) < 2:
        return stale_after_s
    if kind in (SampleKind.HELD, SampleKind.STATE):
        longest = np.sort(np.diff(time_s))[-5:]
        beating = len(longest) == 5 and longest[0] > 0.9 * longest[-1]
        return max(stale_after_s, 2.5 * float(longest[-1]) if beating else 0.0)
    usual = typical_interval_s(time_s)
    return max(1.5 * usual, min(stale_after_s, max(SHORTEST_GAP_S, 5.5 * usual)))


def held(time_s: FloatArray, values: FloatArray, stale_after_s: float) -> Pieces:
    """Step-hold: each report until the next or until stale; NaN is a gap from its own stamp on.

    A gap with the same level on both sides, shorter than the signal usually stays on one level, is filled with
    that level; its bounds stay nought and the highest value seen.
    """
    ends = np.append(time_s[1:], time_s[-1] + stale_after_s)
    edges, sample, gap = _interleaved(time_s, np.minimum(ends, time_s + stale_after_s), ends)
    value = values[sample]
    return _switched(edges, value, gap | np.isnan(value))


def _interleaved(
    start: FloatArray, until: FloatArray, end: FloatArray
) -> tuple[FloatArray, IntArray | slice, BoolArray]:
    """Edges of pieces start→until followed, where there is room, by a gap until→end; their samples; which are gaps."""
    room = until < end
    if not room.any():
        return np.append(start, end[-1]), slice(None), np.zeros(len(start), dtype=bool)
    number = np.arange(len(start))
    keep = np.column_stack([np.ones(len(start), dtype=bool), room])
    edges = np.column_stack([start, until])[keep]
    gap = np.column_stack([np.zeros(len(start), dtype=bool), room])[keep]
    return np.append(edges, end[-1]), np.column_stack([number, number])[keep], gap


def nearest(time_s: FloatArray, values: FloatArray, stale_after_s: float) -> Pieces:
    """Each sample over the half intervals beside it; a silence longer than the limit is a gap."""
    kept = ~np.isnan(values)
    if not kept.all():
        time_s, values = time_s[kept], values[kept]
    if not len(time_s):
        return empty()
    edges, sample, gap = _halves(time_s, stale_after_s)
    interval = np.diff(time_s)
    between = (np.diff(values) * interval) ** 2 / 24
    between[interval > stale_after_s] = 0.0
    sampling = np.append(0.0, between)
    sampling[:-1] += between
    sampling = sampling[sample]
    sampling[gap] = 0.0
    return _switched(edges, values[sample], gap, sampling)


@once_for_arrays
def _halves(time_s: FloatArray, stale_after_s: float) -> tuple[FloatArray, IntArray | slice, BoolArray]:
    """Edges half-way between samples, as `_interleaved` gives them; half a usual interval beside a silence."""
    half = min(typical_interval_s(time_s), stale_after_s) / 2
    interval = np.diff(time_s)
    silent = interval > stale_after_s
    until = np.append(time_s[:-1] + interval / 2, time_s[-1] + half)
    start = np.append(time_s[0] - half, until[:-1])  # copied: the two neighbours must meet to the last bit
    until[:-1][silent], start[1:][silent] = time_s[:-1][silent] + half, time_s[1:][silent] - half
    return _interleaved(start, until, np.append(start[1:], until[-1]))


def _switched(edges: FloatArray, value: FloatArray, gap: BoolArray, sampling: FloatArray | None = None) -> Pieces:
    """Pieces of a switched quantity: gaps are filled where both sides agree, and bounded by 0 and the maximum."""
    index = np.flatnonzero(gap)
    known = ~gap
    if not known.any():
        return empty()
    seen = value[known] if len(index) else value
    top, bottom = float(np.max(seen)), min(0.0, float(np.min(seen)))
    if not len(index):
        return Pieces(edges, value, value, NO_GAPS, (bottom, top), sampling)
    there = np.flatnonzero(known)
    after = np.searchsorted(there, index)
    bounded = (after > 0) & (after < len(there))
    before, behind = there[np.maximum(after - 1, 0)], there[np.minimum(after, len(there) - 1)]
    left, right = value[before], value[behind]
    agree = np.abs(right - left) <= np.maximum(SAME_LEVEL_W, SAME_LEVEL_SHARE * np.abs(left))
    short = edges[behind] - edges[before + 1] <= _dwell_s(edges[:-1][known], seen, bottom, top)
    filled = bounded & agree & short
    course = value.copy()
    course[index] = np.where(filled, left, 0.0)
    width = np.where(filled, np.maximum(np.abs(right - left), SURE_SHARE * np.abs(left)), (top - bottom) / 2)
    bounds = np.full(len(index), bottom), np.full(len(index), top)
    return Pieces(edges, course, course, Gaps(index, filled, *bounds, width), (bottom, top), sampling)


def _dwell_s(start_s: FloatArray, values: FloatArray, low: float, high: float) -> float:
    """Short end of the times the signal stays on one side of its middle: the lower quartile. [s]"""
    if high - low <= 0.2 * abs(high):
        return np.inf
    turns = np.flatnonzero(np.diff(values > (low + high) / 2)) + 1
    stays = np.diff(start_s[turns])
    return float(np.quantile(stays, 0.25)) if len(stays) >= 2 else np.inf


def straight(time_s: FloatArray, values: FloatArray, stale_after_s: float) -> Pieces:
    """Lines between samples; across a longer silence the line stands in, bounded by how far the signal moves."""
    kept = ~np.isnan(values)
    if not kept.all():
        time_s, values = time_s[kept], values[kept]
    if not len(time_s):
        return empty()
    edges, index = _widened(time_s, stale_after_s)
    values = np.concatenate([values[:1], values, values[-1:]])
    left, right = values[:-1], values[1:]
    spans = edges[index[:MOST_MOVES] + 1] - edges[index[:MOST_MOVES]]
    moves = np.array([_usual_move(edges, values, float(span)) for span in spans])
    moves = np.concatenate([moves, np.full(len(index) - len(moves), np.max(moves, initial=0.0))])
    low, high = np.minimum(left[index], right[index]) - moves, np.maximum(left[index], right[index]) + moves
    gaps = Gaps(index, np.ones(len(index), dtype=bool), low, high, moves)
    return Pieces(edges, left, right, gaps, (float(np.min(values)), float(np.max(values))))


@once_for_arrays
def _widened(time_s: FloatArray, stale_after_s: float) -> tuple[FloatArray, IntArray]:
    """Sample times with half an interval more at either end, for which those samples stand; where they fall silent."""
    half = min(typical_interval_s(time_s), stale_after_s) / 2
    edges = np.concatenate([[time_s[0] - half], time_s, [time_s[-1] + half]])
    return edges, np.flatnonzero(np.diff(edges) > stale_after_s)


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
    edges, sample, gap = _interleaved(start, end_s, np.append(start[1:], end_s[-1]))
    return _switched(edges, values[sample], gap | np.isnan(values[sample]))


def counted(counter: Counter) -> Pieces:
    """Mean power between the readings of a counter; what a reset may have hidden is a gap with its bounds."""
    begin, end, seen_from = counter.time_s[:-1], counter.time_s[1:], counter.seen_from_s
    if not len(begin):
        return empty()
    lengths = np.column_stack([seen_from - begin, end - seen_from])
    keep = lengths > 0
    edges = np.append(np.column_stack([begin, seen_from])[keep], end[-1])
    rate = np.column_stack([np.zeros(len(begin)), counter.energy])[keep] / lengths[keep]
    hidden = np.column_stack([counter.unseen, np.zeros(len(begin))])[keep] / lengths[keep]
    index = np.flatnonzero(np.column_stack([np.ones(len(begin), dtype=bool), np.zeros(len(begin), dtype=bool)])[keep])
    nothing, most = np.zeros(len(index)), hidden[index]
    gaps = Gaps(index, nothing > 0, nothing, most, most / 2)
    return Pieces(edges, rate, rate, gaps, (0.0, float(np.max(rate, initial=0.0))))
