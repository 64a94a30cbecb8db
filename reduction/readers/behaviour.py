"""What columns do, seen over all of a session: levels, switching, and what moves with what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.readers.table import Column, FloatArray
from reduction.readers.vocabulary import to_si

POINTS = 1500
_OFF_W = 12.0  # standby of a metered plug and its load; common practice, no source
_ON_SHARE = 0.5
_UNIT_ON_W, _UNIT_ON_SHARE = 100.0, 0.4
_FEW = 5

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Course:
    """One column in SI on the common grid of all, shape (POINTS,), NaN outside its own span."""

    key: tuple[str, str]
    column: Column
    values: FloatArray
    median: float
    top: float


def courses(keyed: Sequence[tuple[tuple[str, str], Column]]) -> list[Course]:
    """Sample temperatures and powers of a session on one grid; counters and masses as they are."""
    spans = [(c.time_s[0], c.time_s[-1]) for _, c in keyed if len(c.time_s)]
    if not spans:
        return []
    grid = np.linspace(min(a for a, _ in spans), max(b for _, b in spans), POINTS)
    return [_course(key, column, grid) for key, column in keyed if len(column.time_s)]


def _course(key: tuple[str, str], column: Column, grid: FloatArray) -> Course:
    rows = np.clip(np.searchsorted(column.time_s, grid, side="right") - 1, 0, None)
    values = column.values[rows]
    values = np.where((grid >= column.time_s[0]) & (grid <= column.time_s[-1]), values, np.nan)
    values, _ = to_si(values, column.quantity_unit, column.is_difference)
    known = values[np.isfinite(values)]
    if not len(known):
        return Course(key, column, values, float("nan"), float("nan"))
    return Course(key, column, values, float(np.median(known)), float(np.percentile(known, 98)))


@dataclass(frozen=True)
class Switching:
    """How a power switches: times it came on or went off, share of time on, level while on, its spread and its low."""

    changes: int
    on_share: float
    level_w: float
    spread: float
    low_w: float


def switching(column: Column) -> Switching:
    """Describe a power column by its own rows.

    Examples
    --------
    >>> from reduction.readers.table import Guess
    >>> from reduction.session import Role, SampleKind
    >>> g = Guess("", "", "", 1.0)
    >>> time_s = np.arange(0.0, 3600, 10)
    >>> column = Column("h", time_s, np.where(time_s % 600 < 300, 1500.0, 0.0), "power", "W", g, SampleKind.INSTANT, g,
    ...     Role.IGNORED, g)
    >>> switching(column).changes, switching(column).on_share
    (11, 0.5)
    """
    values, _ = to_si(column.values[np.isfinite(column.values)], column.quantity_unit)
    if len(values) > 50_000:
        values = values[:: len(values) // 50_000 + 1]
    if not len(values):
        return Switching(0, 0.0, 0.0, 0.0, 0.0)
    top = float(np.percentile(values, 99)) if len(values) > 100 else float(values.max())
    on = values > _ON_SHARE * top if top > _OFF_W else np.zeros(len(values), dtype=bool)
    level = values[on]
    low = values[~on]
    return Switching(
        changes=int(np.count_nonzero(np.diff(on))),
        on_share=float(on.mean()),
        level_w=float(np.median(level)) if len(level) else top,
        spread=float(np.std(level) / np.mean(level)) if len(level) else 0.0,
        low_w=float(np.median(low)) if len(low) else float("nan"),
    )


def drawing_power(unit_powers: Sequence[Course]) -> BoolArray | None:
    """Return when the unit draws power, on the common grid; None where no column says."""
    if not unit_powers or not np.isfinite(unit_powers[0].top):
        return None
    with np.errstate(invalid="ignore"):
        on = unit_powers[0].values > max(_UNIT_ON_W, _UNIT_ON_SHARE * unit_powers[0].top)
    return on if np.count_nonzero(on) >= _FEW else None


def correlation(a: FloatArray, b: FloatArray, where: BoolArray | None = None) -> float:
    """Return the correlation of two courses where both are known, 0 where one does not move."""
    both = np.isfinite(a) & np.isfinite(b)
    if where is not None:
        both &= where
    if np.count_nonzero(both) < _FEW or np.ptp(a[both]) == 0 or np.ptp(b[both]) == 0:
        return 0.0
    return float(np.corrcoef(a[both], b[both])[0, 1])


def median_where(course: Course, where: BoolArray | None) -> float:
    """Return the median of a course, over the whole or while the unit draws power."""
    values = course.values if where is None else course.values[where]
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else course.median
