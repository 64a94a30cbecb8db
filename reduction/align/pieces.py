"""A logged signal as pieces between edges, and its exact integral over any span.

Every kind of log becomes the same thing (`courses` says how): edges in time, between two edges a straight course,
and among the pieces a few gaps with bounds. Sums kept at the edges answer any window in one look-up, and the sums of
what is unknown are kept for the gaps alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from reduction.align.shared import once_for_arrays

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


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
class Found:
    """Times moved within the edges of pieces, and for each the number of its piece, its time in it and its length."""

    inside_s: FloatArray
    piece: IntArray
    since_s: FloatArray
    length_s: FloatArray


def find(edges_s: FloatArray, time_s: FloatArray) -> Found:
    """Find the pieces that times lie in, shape kept."""
    inside_s = np.minimum(np.maximum(time_s, edges_s[0]), edges_s[-1])
    piece = np.searchsorted(edges_s[1:-1], inside_s, side="right")
    begin_s = edges_s[piece]
    return Found(inside_s, piece, inside_s - begin_s, edges_s[piece + 1] - begin_s)


find_shared = once_for_arrays(find)


@dataclass(frozen=True, eq=False)
class Gaps:
    """The unknown pieces of a signal: `index` among all pieces, and for each of them, shape (g,), its bounds.

    `filled` says whether the course through the gap may be used all the same, `half_width` how far the gap's mean may
    lie from what is taken for it, as the half-width of a rectangular distribution.
    """

    index: IntArray
    filled: BoolArray
    low: FloatArray
    high: FloatArray
    half_width: FloatArray


@dataclass(frozen=True, eq=False)
class Pieces:
    """A signal between edges.

    `edges_s` shape (m+1,); `left` and `right` shape (m,) the values at the ends of each piece, a straight line
    between them, 0 in a gap that is not filled; `sampling` shape (m,) or None the variance of a piece's integral.
    `outside` bounds the signal before the first and after the last edge.
    """

    edges_s: FloatArray
    left: FloatArray
    right: FloatArray
    gaps: Gaps
    outside: tuple[float, float]
    sampling: FloatArray | None = None

    @property
    def known(self) -> BoolArray:
        """Whether each piece was measured, shape (m,)."""
        known = np.ones(len(self.left), dtype=bool)
        known[self.gaps.index] = False
        return known

    @cached_property
    def usable(self) -> BoolArray:
        """Whether each piece was measured or is safely filled, shape (m,)."""
        usable = self.known
        usable[self.gaps.index[self.gaps.filled]] = True
        return usable

    @property
    def missing_s(self) -> FloatArray:
        """Durations of the gaps, shape (g,). [s]"""
        return np.asarray(np.diff(self.edges_s)[self.gaps.index], dtype=float)

    @property
    def silences_s(self) -> FloatArray:
        """Durations of the gaps, those that follow each other taken together. [s]"""
        starts = np.flatnonzero(np.diff(self.gaps.index, prepend=-2) > 1)
        return np.add.reduceat(self.missing_s, starts) if len(starts) else self.missing_s

    @cached_property
    def _integral(self) -> FloatArray:
        sums = np.zeros(len(self.edges_s))
        parts = np.subtract(self.edges_s[1:], self.edges_s[:-1], out=sums[1:])
        parts *= 0.5 * (self.left + self.right)
        np.cumsum(parts, out=parts)
        return sums

    @cached_property
    def _sampling(self) -> FloatArray | None:
        return None if self.sampling is None else np.concatenate([[0.0], np.cumsum(self.sampling)])

    @cached_property
    def _gap_sums(self) -> tuple[FloatArray, FloatArray]:
        """Of the gaps: rates per second and their sums before each gap, rows as `_unknown` returns them."""
        index, length = self.gaps.index, self.missing_s
        course = (self.left[index] + self.right[index]) / 2
        rates = np.stack(
            [
                np.ones(len(index)),
                self.gaps.filled.astype(float),
                self.gaps.low - course,
                self.gaps.high - course,
                self.gaps.half_width**2 * length / 3,
            ]
        )
        sums = np.zeros((5, len(index) + 1))
        np.cumsum(rates * length, axis=1, out=sums[:, 1:])
        return rates, sums

    def _upto(self, found: Found) -> FloatArray:
        """Integral of the course to each time within the edges."""
        left = self.left[found.piece]
        bend = (self.right[found.piece] - left) / (2 * found.length_s)
        return np.asarray(self._integral[found.piece] + (left + bend * found.since_s) * found.since_s)

    def _unknown(self, inside_s: FloatArray) -> FloatArray:
        """To each time: missing and filled time, bounds less course, variance of the gaps; shape (5, …)."""
        if not len(self.gaps.index):
            return np.zeros((5, *inside_s.shape))
        rates, sums = self._gap_sums
        begin, end = self.edges_s[self.gaps.index], self.edges_s[self.gaps.index + 1]
        gap = np.searchsorted(begin, inside_s, side="right") - 1
        at = np.maximum(gap, 0)
        since = np.where(gap >= 0, np.minimum(inside_s, end[at]) - begin[at], 0.0)
        return np.asarray(sums[:, at] + rates[:, at] * since)

    def over(self, start_s: FloatArray, end_s: FloatArray) -> Spans:
        """Integrals over spans that may lie anywhere, shapes (m,)."""
        found = find(self.edges_s, np.stack([start_s, end_s]))
        ends, sums = found.inside_s, self._upto(found)
        integral, length = sums[1] - sums[0], ends[1] - ends[0]
        unknown = self._unknown(ends)
        missing, filled, below, above, gap_variance = unknown[:, 1] - unknown[:, 0]
        outside_s = (end_s - start_s) - length
        low, high = self.outside
        return Spans(
            integral=integral,
            known_s=np.maximum(0.0, length - missing),
            filled_s=filled,
            low=integral + below + low * outside_s,
            high=integral + above + high * outside_s,
            gap_variance=np.maximum(0.0, gap_variance) + ((high - low) * outside_s) ** 2 / 12,
            sampling_variance=self._sampled(found),
        )

    def _sampled(self, found: Found) -> FloatArray:
        if self.sampling is None or self._sampling is None:
            return np.zeros(found.piece.shape[1:])
        upto = self._sampling[found.piece] + self.sampling[found.piece] * found.since_s / found.length_s
        return np.asarray(upto[1] - upto[0])

    def cell_means(self, edges_s: FloatArray) -> FloatArray:
        """Means over the cells between edges, shape (len(edges) − 1,); NaN where less than half is known."""
        found = find_shared(self.edges_s, edges_s)
        covered = np.diff(found.inside_s)
        if len(self.gaps.index):
            missing, filled = self._unknown(found.inside_s)[:2]
            covered = np.diff(found.inside_s - missing + filled)
        enough = covered >= 0.5 * np.diff(edges_s)
        integral = np.diff(self._upto(found))
        mean: FloatArray = np.divide(integral, covered, out=np.full(len(covered), np.nan), where=enough)
        return mean

    def at(self, time_s: FloatArray) -> FloatArray:
        """The course at given times, NaN in a gap that is not filled and outside, shape (n,)."""
        inside = (time_s >= self.edges_s[0]) & (time_s < self.edges_s[-1])
        found = find(self.edges_s, time_s)
        left = self.left[found.piece]
        value = left + (self.right[found.piece] - left) * found.since_s / found.length_s
        return np.where(inside & self.usable[found.piece], value, np.nan)
