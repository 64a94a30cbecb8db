"""One channel in SI on its own times, and exact means of it over any span."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from reduction.align import courses
from reduction.align.counters import Counter
from reduction.align.pieces import Pieces
from reduction.session import Instrument, Role, SampleKind

FloatArray = NDArray[np.float64]

POWER_ROLES = frozenset(
    {Role.UNIT_POWER, Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER, Role.OTHER_POWER},
)
ENERGY_ROLES = frozenset({Role.UNIT_ENERGY, Role.HEATER_ENERGY, Role.OTHER_ENERGY})
SOME = 5000  # samples are enough for a median
SWITCHED_ROLES = POWER_ROLES | ENERGY_ROLES | {Role.RELAY_STATE}


@dataclass(frozen=True, eq=False)
class Series:
    """One channel in SI on its own times, after clock and calibration corrections.

    `time_s` Unix time UTC [s], strictly increasing, shape (n,): the instant, or the end of the interval for means
    and totals. `values` in SI (°C, %, W, J for counters, kg), NaN = known to be missing. `kind` says what a row
    stands for (step-hold, instant, interval mean, counter). `stale_after_s` is how long silence may last before
    it is a gap. [s] `counter` is set for counters: the register without glitches and resets.
    """

    key: str
    file: str
    column: str
    role: Role
    place: str
    kind: SampleKind
    time_s: FloatArray
    values: FloatArray
    instrument: Instrument | None
    placement_u: float
    stale_after_s: float
    counter: Counter | None = None

    @cached_property
    def pieces(self) -> Pieces:
        """The signal as pieces, by its kind and by whether it is switched."""
        if self.counter is not None:
            return courses.counted(self.counter)
        if not np.any(np.isfinite(self.values)):
            return courses.empty()
        means = self.kind in (SampleKind.INTERVAL_MEAN, SampleKind.TOTAL)
        if self.role not in SWITCHED_ROLES:
            middle_s = self.time_s - (courses.typical_interval_s(self.time_s) / 2 if means else 0.0)
            return courses.straight(middle_s, self.values, self.stale_after_s)
        if means:
            return courses.interval_means(self.time_s, self.values)
        if self.kind == SampleKind.INSTANT:
            return courses.nearest(self.time_s, self.values, self.stale_after_s)
        return courses.held(self.time_s, self.values, self.stale_after_s)

    @cached_property
    def level(self) -> float:
        """Median of the values, from some thousand of them; NaN where none is known."""
        some = self.values[:: max(1, len(self.values) // SOME)]
        known = some[np.isfinite(some)]
        return float(np.median(known)) if len(known) else float("nan")

    @cached_property
    def known_means(self) -> dict[tuple[float, float], MeanOver]:
        """Means already taken, by start and end of their window."""
        return {}

    @property
    def name(self) -> str:
        """How sentences call it: the heading, with its place if it has one."""
        return f"{self.column} ({self.place})" if self.place else self.column


@dataclass(frozen=True)
class MeanOver:
    """The mean of a series over a window.

    `value` over the known and the safely filled part, NaN where nothing is known. `known_fraction` of the window
    that was measured, `filled_fraction` that was filled because both sides of a gap agree. `low` and `high` bound
    the mean whatever the gaps held. `u_gap` and `u_sampling`: standard uncertainties from the gaps and from not
    knowing where between two samples the signal switched. `n` samples in the window.
    """

    value: float
    known_fraction: float
    filled_fraction: float
    low: float
    high: float
    u_gap: float
    u_sampling: float
    n: int


def mean_over(series: Series, start_s: float, end_s: float) -> MeanOver:
    """Exact mean of a series over a window, on the series' own times.

    Parameters
    ----------
    series
        Any kind; a counter gives mean power. [the series' SI unit, W for counters]
    start_s, end_s
        The window, Unix time UTC. [s]

    Examples
    --------
    >>> heater = Series("k", "f.csv", "h", Role.OTHER_POWER, "", SampleKind.HELD, np.array([0.0, 60.0]),
    ...     np.array([0.0, 900.0]), None, 0.0, 600.0)
    >>> mean_over(heater, 0.0, 90.0).value
    300.0
    """
    if (start_s, end_s) not in series.known_means:
        look_up_means(series, [(start_s, end_s)])
    return series.known_means[start_s, end_s]


def look_up_means(series: Series, windows: Sequence[tuple[float, float]]) -> None:
    """Take the means over several windows in one look-up, for `mean_over` to give."""
    start_s, end_s = np.array(windows).reshape(-1, 2).T
    spans, duration = series.pieces.over(start_s, end_s), end_s - start_s
    covered = spans.known_s + spans.filled_s
    first, last = np.searchsorted(series.time_s, [start_s, end_s])
    table = [
        np.divide(spans.integral, covered, out=np.full(len(covered), np.nan), where=covered > 1e-6),
        np.minimum(1.0, spans.known_s / duration),
        spans.filled_s / duration,
        spans.low / duration,
        spans.high / duration,
        np.sqrt(np.maximum(0.0, spans.gap_variance)) / duration,
        np.sqrt(np.maximum(0.0, spans.sampling_variance)) / duration,
    ]
    rows = zip(*(column.tolist() for column in table), (last - first).tolist(), strict=True)
    series.known_means.update(zip(windows, (MeanOver(*row) for row in rows), strict=True))


def means_over(series: Series, start_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Means over many windows at once, shapes (m,); NaN where less than half of a window is known."""
    spans = series.pieces.over(start_s, end_s)
    covered = spans.known_s + spans.filled_s
    enough = covered >= 0.5 * (end_s - start_s)
    mean: FloatArray = np.divide(spans.integral, covered, out=np.full(len(covered), np.nan), where=enough)
    return mean


@dataclass(frozen=True)
class EnergyOver:
    """Energy used in a window: as seen, its bounds, the counter's step, and what went wrong on the way. [J]"""

    seen_j: float
    low_j: float
    high_j: float
    step_j: float
    glitches: int
    resets: int


def energy_over(series: Series, start_s: float, end_s: float) -> EnergyOver:
    """Energy of a power series or a counter over a window; a counter's reset leaves a bounded unknown. [J]

    For a counter `seen_j` is what its readings show, and `high_j` adds what resets may have hidden; each of its
    two readings is uncertain by `step_j` besides. For a power series `seen_j` covers the known and filled part.

    Examples
    --------
    >>> lamp = Series("k", "f.csv", "lamp", Role.OTHER_POWER, "", SampleKind.HELD, np.array([0.0]),
    ...     np.array([40.0]), None, 0.0, 3600.0)
    >>> energy_over(lamp, 0.0, 1800.0).seen_j
    72000.0
    """
    spans = series.pieces.over(np.array([start_s]), np.array([end_s]))
    counter = series.counter
    inside = (0, 0)
    if counter is not None:
        glitches, resets = counter.glitches, counter.resets
        inside = (
            int(np.sum((glitches >= start_s) & (glitches <= end_s))),
            int(np.sum((resets >= start_s) & (resets <= end_s))),
        )
    return EnergyOver(
        seen_j=float(spans.integral[0]),
        low_j=float(spans.low[0]),
        high_j=float(spans.high[0]),
        step_j=counter.step if counter is not None else 0.0,
        glitches=inside[0],
        resets=inside[1],
    )
