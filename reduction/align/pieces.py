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
        np.cumsum((self.left + self.right) * (0.5 * np.diff(self.edges_s)), out=sums[1:])
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

    def _piece(self, time_s: FloatArray) -> IntArray:
        """The piece that each time lies in, the first or last one for times outside."""
        return np.searchsorted(self.edges_s[1:-1], time_s, side="right")

    def _upto(self, inside_s: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
        """Integral of the course to each time within the edges, with the time since each one's piece began."""
        piece = self._piece(inside_s)
        since, left = inside_s - self.edges_s[piece], self.left[piece]
        bend = (self.right[piece] - left) / (2 * (self.edges_s[piece + 1] - self.edges_s[piece]))
        return self._integral[piece] + (left + bend * since) * since, since, piece

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

    def _inside(self, time_s: FloatArray) -> FloatArray:
        return np.asarray(np.minimum(np.maximum(time_s, self.edges_s[0]), self.edges_s[-1]))

    def over(self, start_s: FloatArray, end_s: FloatArray) -> Spans:
        """Integrals over spans that may lie anywhere, shapes (m,)."""
        ends = self._inside(np.stack([start_s, end_s]))
        sums, since, piece = self._upto(ends)
        integral, length = sums[1] - sums[0], ends[1] - ends[0]
        missing, filled, below, above, gap_variance = np.diff(self._unknown(ends), axis=1)[:, 0]
        outside_s = (end_s - start_s) - length
        low, high = self.outside
        return Spans(
            integral=integral,
            known_s=np.maximum(0.0, length - missing),
            filled_s=filled,
            low=integral + below + low * outside_s,
            high=integral + above + high * outside_s,
            gap_variance=np.maximum(0.0, gap_variance) + ((high - low) * outside_s) ** 2 / 12,
            sampling_variance=np.diff(self._sampled(piece, since), axis=0)[0],
        )

    def _sampled(self, piece: IntArray, since_s: FloatArray) -> FloatArray:
        if self.sampling is None or self._sampling is None:
            return np.zeros(piece.shape)
        length = self.edges_s[piece + 1] - self.edges_s[piece]
        return np.asarray(self._sampling[piece] + self.sampling[piece] * since_s / length)

    def cell_means(self, edges_s: FloatArray) -> FloatArray:
        """Means over the cells between edges, shape (len(edges) − 1,); NaN where less than half is known."""
        inside = self._inside(edges_s)
        missing, filled = self._unknown(inside)[:2] if len(self.gaps.index) else np.zeros((2, len(inside)))
        covered = np.diff(inside - missing + filled)
        enough = covered >= 0.5 * np.diff(edges_s)
        integral = np.diff(self._upto(inside)[0])
        mean: FloatArray = np.divide(integral, covered, out=np.full(len(covered), np.nan), where=enough)
        return mean

    def at(self, time_s: FloatArray) -> FloatArray:
        """The course at given times, NaN in a gap that is not filled and outside, shape (n,)."""
        inside = (time_s >= self.edges_s[0]) & (time_s < self.edges_s[-1])
        piece = self._piece(time_s)
        part = (time_s - self.edges_s[piece]) / (self.edges_s[piece + 1] - self.edges_s[piece])
        value = self.left[piece] + (self.right[piece] - self.left[piece]) * part
        return np.where(inside & self.usable[piece], value, np.nan)
