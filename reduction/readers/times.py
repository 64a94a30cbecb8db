"""Which column is the clock, in which zone, and what instants it says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import tzinfo

import numpy as np
import pyarrow as pa

from reduction.errors import Place, UnreadableTime
from reduction.readers.clock_columns import (
    Reading,
    counted,
    elapsed,
    instants,
    is_clock,
    times_of_day,
    two_columns,
)
from reduction.readers.clock_parts import separate_parts
from reduction.readers.grid import Grid, as_text
from reduction.readers.headings import words_of
from reduction.readers.local_time import IntArray, Placed, find_zone, place_by_name, place_on_utc
from reduction.readers.table import Fault, FloatArray, Guess
from reduction.readers.words import words_for
from reduction.readers.zone_column import zone_of_column
from reduction.session import Profile

_PREFERRED = ("utc", "timestamp", "datetime", "time", "date", "zeit", "changed")
_HEADING_ZONE = re.compile(r"\b(?:UTC|GMT)(?:\s?[+\-−]\d{1,2}(?::?\d{2})?)?\b", re.IGNORECASE)
_PREAMBLE_ZONE = re.compile(
    r"(?:time\s?zone|zeitzone|tz|fuseau(?: horaire)?|zona horaria)\W{1,4}"
    r"([A-Za-z_]+/[A-Za-z_/]+|(?:UTC|GMT)?\s?[+\-]\d{1,2}:?\d{0,2}|UTC|GMT)",
    re.IGNORECASE,
)
_MOST_JUNK = 0.2  # share of rows without a stamp beyond which they are no footers; common practice
_FEW_ROWS = 5
_ROWS_A_NAME = 10  # at least, before a column of texts is one of channels


@dataclass(frozen=True)
class Times:
    """Unix seconds of every row in file order, shape (n,), NaN where the row has no stamp; and how they were found."""

    time_s: FloatArray
    columns: tuple[int, ...]
    zone: str
    order: str | None
    resolution_s: float
    guesses: tuple[Guess, ...]
    faults: tuple[Fault, ...] = ()


def find_times(grid: Grid, file: str, profile: Profile, time_zone: str) -> Times:
    """Find the clock of a grid and place its rows on UTC.

    Raises
    ------
    UnreadableTime
        If no column is a clock, its date order is ambiguous, a date or a start is missing, or the repeated hour
        cannot be told apart.
    """
    reading = _find(grid, file, profile)
    stamps = reading.stamps
    column = " + ".join(grid.names[i] for i in reading.columns)
    junk = _without_stamp(reading, grid, file)
    guesses = [Guess("time_column", column, reading.what, 0.97)]
    if stamps.order and stamps.because:
        guesses.append(Guess("date_order", stamps.order, stamps.because, stamps.sure))
    placed, guess = _placed(reading, grid, file, profile, time_zone)
    faults = tuple(replace(f, first_row=grid.row_number((f.first_row or 1) - 1)) for f in placed.faults)
    zone = "UTC" if reading.stamps.zoned else guess.value
    return Times(placed.time_s, reading.columns, zone, stamps.order, stamps.resolution_s, (*guesses, guess),
        (*reading.faults, *junk, *faults))  # fmt: skip


def _placed(reading: Reading, grid: Grid, file: str, profile: Profile, time_zone: str) -> tuple[Placed, Guess]:
    """Place the stamps on UTC, with the zone and how it is known."""
    if reading.stamps.zoned:
        return Placed(reading.stamps.seconds), Guess(
            "time_zone", "as the stamps say", "stamps carry their offset or count in UTC", 1.0
        )
    zone, guess = _zone(grid, reading, file, profile, time_zone)
    placed = _on_utc(reading, grid, zone, file)
    return placed, replace(guess, because=f"{guess.because}; {placed.because}") if placed.because else guess


def _on_utc(reading: Reading, grid: Grid, zone: tzinfo, file: str) -> Placed:
    """Place the stamps in file order or, where that tells nothing of a repeated hour, in the order of each channel."""
    seconds, column = reading.stamps.seconds, grid.names[reading.columns[0]]
    try:
        return place_on_utc(seconds, zone, file, column)
    except UnreadableTime:
        for index in sorted(set(range(len(grid.names))) - set(reading.columns)):
            names = _channels(grid, index)
            if names is not None:
                with suppress(UnreadableTime):
                    return place_by_name(seconds, names, zone, file, column)
        raise


def _channels(grid: Grid, index: int) -> IntArray | None:
    """Numbers of the names in a column of texts that repeat; None for any other column."""
    column = grid.columns[index]
    if not pa.types.is_string(column.type):
        return None
    encoded = column.dictionary_encode()
    if not 1 < len(encoded.dictionary) <= len(column) / _ROWS_A_NAME:
        return None
    return np.asarray(encoded.indices.fill_null(len(encoded.dictionary)), dtype=np.int64)


def _find(grid: Grid, file: str, profile: Profile) -> Reading:
    """Try every way of reading a clock on every column, the likeliest first."""
    order = _candidates(grid, file, profile)
    for look in (separate_parts, instants, two_columns, counted, times_of_day, elapsed):
        for index in order:
            if reading := look(grid, index, file, profile):
                return _surer(reading, grid, order, file, profile)
    if clocks := [grid.names[i] for i in order if is_clock(grid.columns[i])]:
        raise UnreadableTime(place=Place(file, column=clocks[0]), found="times of day without a date",
            expected="a date in the stamp, in a column of its own or stated for the file",
            remedy="State the date of the first row (declared_date).")  # fmt: skip
    raise UnreadableTime(place=Place(file), found=_looked_at(grid), expected="a column of time stamps",
        remedy="Name the time column (time_column), or state when the log started (start_utc).")  # fmt: skip


def _surer(reading: Reading, grid: Grid, order: Sequence[int], file: str, profile: Profile) -> Reading:
    """Take a column that counts from 1970, and so needs no zone, where the file has one beside local stamps."""
    if reading.stamps.zoned or profile.time_column is not None:
        return reading
    others = (counted(grid, i, file, profile) for i in order if i not in reading.columns)
    return next((other for other in others if other is not None and other.stamps.zoned), reading)


def _candidates(grid: Grid, file: str, profile: Profile) -> Sequence[int]:
    if profile.time_column is None:
        return sorted(range(len(grid.names)), key=lambda i: (_rank(grid.names[i]), i))
    if profile.time_column not in grid.names:
        raise UnreadableTime(place=Place(file), found=", ".join(grid.names)[:120],
            expected=f"a column “{profile.time_column}”", remedy="Name the time column as the file does.")  # fmt: skip
    return [grid.names.index(profile.time_column)]


def _rank(name: str) -> int:
    heading = words_of(name)
    for rank, word in enumerate(_PREFERRED):
        if word in heading:
            return rank
    return len(_PREFERRED) + (0 if words_for("part", "time") & set(heading) else 1)


def _looked_at(grid: Grid) -> str:
    firsts = [as_text(c).drop_null()[:1].to_pylist() for c in grid.columns[:6]]
    return ", ".join(f"{n}: {v[0]}" if v else n for n, v in zip(grid.names, firsts, strict=False))[:160]


def _zone(grid: Grid, reading: Reading, file: str, profile: Profile, time_zone: str) -> tuple[tzinfo, Guess]:
    """Return the zone of stamps that carry none: as stated, by a heading, by a line above, or the session's."""
    if profile.time_zone:
        return find_zone(profile.time_zone, file), Guess("time_zone", profile.time_zone, "as stated for this file", 1.0)
    for index in reading.columns:
        if found := _HEADING_ZONE.search(grid.names[index].replace("_", " ")):
            return find_zone(found[0]), Guess("time_zone", found[0], f"heading “{grid.names[index]}”", 0.97)
    if told := zone_of_column(grid):
        zone, name = told
        return zone, Guess("time_zone", name, "a column of the file states it in every row", 0.95)
    for line in grid.preamble:
        if found := _PREAMBLE_ZONE.search(line):
            because = f"line “{line.strip()[:60]}” above the data"
            return find_zone(found[1], file), Guess("time_zone", found[1], because, 0.95)
    because = "no stamp, heading or line of the file carries a zone; the session's zone is used"
    return find_zone(time_zone, file), Guess("time_zone", time_zone, because, 0.6)


def _without_stamp(reading: Reading, grid: Grid, file: str) -> tuple[Fault, ...]:
    """Count rows without a stamp, and refuse a clock that many rows do not have: few are footers and notes."""
    missing = np.flatnonzero(np.isnan(reading.stamps.seconds))
    if not len(missing):
        return ()
    row = grid.row_number(int(missing[0]))
    column = grid.names[reading.columns[0]]
    if len(missing) == len(grid) or len(missing) > max(_FEW_ROWS, _MOST_JUNK * len(grid)):
        text = as_text(grid.columns[reading.columns[0]])[int(missing[0])].as_py()
        raise UnreadableTime(place=Place(file, row, column), found=str(text)[:60],
            expected="a time stamp like those in other rows", remedy="Correct or delete such rows.")  # fmt: skip
    return (Fault("row_without_time", len(missing), row, column,
        f"{len(missing)} row(s) have no readable time stamp, such as footers and notes; they are left out, "
        f"the first is row {row}."),)  # fmt: skip
