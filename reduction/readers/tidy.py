"""Rows in order: sorting, duplicates, and stamps that lost their seconds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from reduction.readers.numbers import RowNumber
from reduction.readers.table import Fault, FloatArray

_HALF_DAY_S, _FEW_FALLS = 43_200.0, 4


def in_order(
    time_s: FloatArray, columns: Sequence[FloatArray], row_number: RowNumber, resolution_s: float = 1.0
) -> tuple[FloatArray, list[FloatArray], tuple[Fault, ...]]:
    """Return rows sorted by time, each instant once.

    Parameters
    ----------
    time_s
        Unix times in file order, shape (n,), NaN where a row has none. [s]
    columns
        Values beside them, each of shape (n,).

    Returns
    -------
    tuple
        Increasing times, values in that order, and faults. Identical duplicates collapse; of conflicting ones the
        last in file order stays, and a missing cell never hides a known one of the same instant.
    """
    steps = np.diff(time_s)
    if np.all(steps > 0) and np.isfinite(time_s).all():
        return time_s, list(columns), ()
    known = np.isfinite(time_s)
    if not known.all():
        time_s, columns = time_s[known], [c[known] for c in columns]
        steps = np.diff(time_s)
    faults: list[Fault] = []
    if resolution_s >= 60 and (spread := _spread_minutes(time_s)) is not None:
        time_s, steps = spread, np.diff(spread)
        faults.append(Fault("seconds_lost", len(time_s), row_number(0), None,
            "Stamps have no seconds and several rows share a minute; the rows are spread evenly over it."))  # fmt: skip
    if (back := steps < 0).any():
        order = np.argsort(time_s, kind="stable")
        count, row = int(back.sum()), row_number(int(np.flatnonzero(back)[0]) + 1)
        sentence = f"{count} row(s), the first row {row}, are earlier than the row above; all were sorted by time."
        faults.append(Fault("out_of_order", count, row, None, sentence))
        if half := _half_day(steps[back], steps[~back]):
            faults.append(Fault("half_day_lost", half, row, None,
                f"At row {row} the clock falls by twelve hours, as one without AM and PM does: half of the rows are "
                "twelve hours off. Export the log with a 24-hour clock."))  # fmt: skip
        time_s, columns = time_s[order], [c[order] for c in columns]
    return (*_each_instant_once(time_s, list(columns), faults), tuple(faults))


def _half_day(falls_s: FloatArray, steps_s: FloatArray) -> int:
    """Count falls by twelve hours less a usual step, where there is hardly any other."""
    usual = float(np.median(steps_s)) if len(steps_s) else 0.0
    half = int(np.count_nonzero(np.abs(falls_s + _HALF_DAY_S - usual) < max(2.0, usual)))
    return half if half and len(falls_s) <= _FEW_FALLS else 0


def _each_instant_once(
    time_s: FloatArray, columns: list[FloatArray], faults: list[Fault]
) -> tuple[FloatArray, list[FloatArray]]:
    again = np.diff(time_s) == 0
    if not again.any():
        return time_s, columns
    rows = np.flatnonzero(again)
    conflict = np.zeros(len(rows), dtype=bool)
    for values in columns:
        a, b = values[rows], values[rows + 1]
        conflict |= (a != b) & np.isfinite(a) & np.isfinite(b)
    if same := int((~conflict).sum()):
        faults.append(
            Fault("duplicate_rows", same, None, None, f"{same} row(s) repeat the row before and were merged.")
        )
    if clash := int(conflict.sum()):
        faults.append(Fault("conflicting_duplicates", clash, None, None,
            f"{clash} row(s) give another value for the same instant; the last in file order is kept."))  # fmt: skip
    keep = np.r_[~again, True]
    return time_s[keep], [_last_known(v, rows)[keep] for v in columns]


def _last_known(values: FloatArray, rows: NDArray[np.intp]) -> FloatArray:
    """Carry a known value on to a missing one of the same instant."""
    holes = rows[np.isnan(values[rows + 1]) & np.isfinite(values[rows])]
    if not len(holes):
        return values
    values = values.copy()
    for row in holes:
        values[row + 1] = values[row]
    return values


def _spread_minutes(time_s: FloatArray) -> FloatArray | None:
    """Give rows that share a minute their place within it; None where that is not the pattern.

    Examples
    --------
    >>> (_spread_minutes(np.array([0.0, 60, 60, 60, 120, 120, 120, 180, 180])) - 0).tolist()
    [40.0, 60.0, 80.0, 100.0, 120.0, 140.0, 160.0, 180.0, 200.0]
    """
    if np.any(np.diff(time_s) < 0) or np.any(time_s % 60 != 0):
        return None
    starts = np.flatnonzero(np.r_[True, np.diff(time_s) > 0])
    counts = np.diff(np.r_[starts, len(time_s)])
    inner = counts[1:-1]
    if len(inner) < 2 or np.median(inner) < 2 or inner.max() - inner.min() > 2:
        return None
    step = 60.0 / np.maximum(counts, np.median(inner))
    place = np.arange(len(time_s)) - np.repeat(starts, counts)
    place[: counts[0]] += max(int(np.median(inner)) - counts[0], 0)
    return np.asarray(time_s + place * np.repeat(step, counts), dtype=np.float64)
