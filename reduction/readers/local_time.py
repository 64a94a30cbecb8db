"""Local wall-clock readings to UTC, with the two hours a year that clocks make difficult."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from reduction.errors import Place, UnreadableTime
from reduction.readers.table import Fault, FloatArray

IntArray = NDArray[np.int64]
_QUARTER_S = 900  # every present-day zone changes its clock on a quarter hour
_DAY_S = 86400


@dataclass(frozen=True)
class Placed:
    """Stamps placed on UTC, with what had to be said about them."""

    time_s: FloatArray
    faults: tuple[Fault, ...] = ()
    because: str = ""


def find_zone(text: str, file: str = "") -> tzinfo:
    """Return the zone an IANA name or a fixed offset names.

    Raises
    ------
    UnreadableTime
        If it names none.

    Examples
    --------
    >>> find_zone("GMT-04:00").utcoffset(None), str(find_zone("Europe/Berlin"))
    (datetime.timedelta(days=-1, seconds=72000), 'Europe/Berlin')
    """
    name = text.strip()
    if offset := re.fullmatch(r"(?:UTC|GMT|Z)?\s*([+\-−])(\d{1,2}):?(\d{2})?", name, re.IGNORECASE):
        sign = 1 if offset[1] == "+" else -1
        minutes = int(offset[2]) * 60 + int(offset[3] or 0)
        if minutes <= 18 * 60:
            return timezone(timedelta(minutes=sign * minutes))
    if name.upper() in {"UTC", "GMT", "Z"}:
        return UTC
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise UnreadableTime(
            place=Place(file or "time zone"), found=name[:60], expected="an IANA zone or a fixed offset",
            remedy="Give the zone as in Europe/Berlin or UTC-04:00.",
        ) from error  # fmt: skip


def _offset_s(zone: tzinfo, local_s: int, fold: int) -> int:
    local = datetime(1970, 1, 1) + timedelta(seconds=local_s)  # noqa: DTZ001 - a wall clock has no zone yet
    offset = local.replace(tzinfo=zone, fold=fold).utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0


def _offsets(zone: tzinfo, local_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Offsets of both readings of each wall clock; they differ only in the two difficult hours."""
    days = np.floor(local_s / _DAY_S).astype(np.int64)
    first = np.empty(len(local_s))
    second = np.empty(len(local_s))
    for day in np.unique(days[np.r_[True, days[1:] != days[:-1]]]):
        rows = slice(None) if days[0] == days[-1] == day and (days == day).all() else days == day
        ends = {_offset_s(zone, int(day) * _DAY_S + s, f) for s in (0, _DAY_S - 1) for f in (0, 1)}
        if len(ends) == 1:
            first[rows] = second[rows] = ends.pop()
            continue
        quarters = np.floor(local_s[rows] / _QUARTER_S).astype(np.int64)
        unique, back = np.unique(quarters, return_inverse=True)
        table = np.array([[_offset_s(zone, int(q) * _QUARTER_S, f) for f in (0, 1)] for q in unique], dtype=float)
        first[rows], second[rows] = table[back, 0], table[back, 1]
    return first, second


def _second_pass(local_s: FloatArray, twice: NDArray[np.bool_], fold_s: float, place: Place) -> NDArray[np.bool_]:
    """Tell which of the doubtful stamps, in file order, belong to the second pass of the repeated hour."""
    second = np.zeros(len(local_s), dtype=bool)
    rows = np.flatnonzero(twice)
    breaks = np.flatnonzero(np.diff(local_s[rows]) > _DAY_S / 2)
    for night in np.split(rows, breaks + 1):
        steps = np.diff(local_s)
        usual = float(np.median(np.abs(steps[steps != 0]))) if np.any(steps) else fold_s
        lo, hi = max(night[0] - 1, 0), min(night[-1] + 1, len(local_s) - 1)
        back = lo + 1 + np.flatnonzero(np.diff(local_s[lo : hi + 1]) <= 0)
        jump = back[steps[back - 1] + fold_s <= max(3 * usual, _QUARTER_S)]
        if len(jump) == 1:
            second[night[night >= jump[0]]] = True
            continue
        before = night[0] > 0 and local_s[night[0]] - local_s[night[0] - 1] <= 3 * usual
        after = night[-1] < len(local_s) - 1 and local_s[night[-1] + 1] - local_s[night[-1]] <= 3 * usual
        if len(jump) or before == after:
            raise UnreadableTime(
                place=place, found=f"{len(night)} stamps in the hour that the clock shows twice",
                expected="one backward jump in file order that tells the two passes apart",
                remedy="State the fixed offset the logger's clock kept, such as UTC-5, or export with UTC.",
            )  # fmt: skip
        second[night] = after
    return second


def place_on_utc(local_s: FloatArray, zone: tzinfo, file: str, column: str) -> Placed:
    """Turn wall-clock readings into UTC.

    Parameters
    ----------
    local_s
        Seconds from 1970-01-01 00:00 on the wall clock, in file order, shape (n,). [s]
    zone
        Zone of that wall clock.

    Returns
    -------
    Placed
        Unix times of the same shape [s]; NaN stays NaN. A stamp that the clock skipped in spring is counted as a
        fault and read with the offset that held before; a repeated hour is told apart by the backward jump.

    Raises
    ------
    UnreadableTime
        If the repeated hour cannot be told apart: the file is sorted or too sparse.
    """
    if zone is UTC or not np.isfinite(local_s).any():
        return Placed(local_s)
    known = np.isfinite(local_s)
    if not known.all():
        placed = place_on_utc(local_s[known], zone, file, column)
        full = np.full(len(local_s), np.nan)
        full[known] = placed.time_s
        return Placed(full, placed.faults, placed.because)
    first, second = _offsets(zone, local_s)
    skipped, twice = first < second, first > second
    faults: list[Fault] = []
    because = ""
    if skipped.any():
        row = int(np.flatnonzero(skipped)[0])
        faults.append(Fault("nonexistent_local_time", int(skipped.sum()), row + 1, column,
            f"{int(skipped.sum())} stamps lie in the hour that {zone} skips in spring; "
            "they are read with the offset that held before the change."))  # fmt: skip
    offset = first
    if twice.any():
        folded = _second_pass(local_s, twice, float((first - second)[twice][0]), Place(file, column=column))
        offset = np.where(folded, second, first)
        because = (
            f"{int(twice.sum())} stamps lie in the hour that {zone} repeats in autumn; file order tells which pass"
        )
    return Placed(local_s - offset, tuple(faults), because)


def place_by_name(local_s: FloatArray, names: IntArray, zone: tzinfo, file: str, column: str) -> Placed:
    """Turn wall-clock readings into UTC name by name, for logs that list one channel after another.

    Parameters
    ----------
    local_s
        As `place_on_utc`. [s]
    names
        Number of the channel that each row belongs to, shape (n,).

    Raises
    ------
    UnreadableTime
        If the repeated hour of one channel cannot be told apart.
    """
    time_s = np.full(len(local_s), np.nan)
    faults: list[Fault] = []
    for name in np.unique(names):
        rows = np.flatnonzero(names == name)
        placed = place_on_utc(local_s[rows], zone, file, column)
        time_s[rows] = placed.time_s
        faults += [replace(f, first_row=int(rows[(f.first_row or 1) - 1]) + 1) for f in placed.faults]
    because = f"in the hour that {zone} repeats in autumn, the order of each channel's rows tells which pass"
    return Placed(time_s, tuple(faults), because)
