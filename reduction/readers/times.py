"""Which column is the clock, and what instants it says."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from reduction.errors import Place, UnreadableTime
from reduction.readers.grid import Grid, as_text, is_numeric, to_floats
from reduction.readers.headings import words_of
from reduction.readers.local_time import find_zone, place_on_utc
from reduction.readers.stamps import Stamps, epoch_scale, excel_serial, from_excel, parse_clock, parse_text_stamps
from reduction.readers.table import Fault, FloatArray, Guess
from reduction.readers.vocabulary import find_unit
from reduction.session import Profile

TIME_WORDS = frozenset(
    "time timestamp datetime date stamp ts when zeit uhrzeit datum zeitstempel heure temps horodatage fecha hora tiempo "
    "marca changed updated read start end t utc clock period recorded logged".split()
)
_ELAPSED_WORDS = frozenset(
    "elapsed seconds sec secs s min minutes minuten sekunden hours runtime duration laufzeit ms".split()
)
_PREFERRED = ("utc", "timestamp", "datetime", "time", "date", "zeit", "changed")
_HEADING_ZONE = re.compile(r"\b(?:UTC|GMT)(?:\s?[+\-−]\d{1,2}(?::?\d{2})?)?\b", re.IGNORECASE)
_PREAMBLE_ZONE = re.compile(
    r"(?:time\s?zone|zeitzone|tz|fuseau(?: horaire)?|zona horaria)\W{1,4}([A-Za-z_]+/[A-Za-z_/]+|(?:UTC|GMT)?\s?[+\-]\d{1,2}:?\d{0,2}|UTC|GMT)",
    re.IGNORECASE,
)
_PREAMBLE_START = re.compile(
    r"(?:start|begin|début|inicio|beginn|date|datum|fecha)\w*(?:\s+\w+)?\W{1,4}(\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2})?)?\s?(?:Z|[+\-]\d{2}:\d{2})?)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Times:
    """Unix seconds of every row in file order, shape (n,), NaN where the row has no stamp; and how they were found."""

    time_s: FloatArray
    columns: tuple[int, ...]
    zone: str
    guesses: tuple[Guess, ...]
    faults: tuple[Fault, ...] = ()
    order: str | None = None
    resolution_s: float = 1.0


@dataclass(frozen=True)
class _Reading:
    """A candidate: seconds, the columns they came from, whether they are UTC already, and the words for it."""

    stamps: Stamps
    columns: tuple[int, ...]
    what: str
    faults: tuple[Fault, ...] = field(default=())


def find_times(grid: Grid, file: str, profile: Profile, time_zone: str) -> Times:
    """Find the clock of a grid and place its rows on UTC.

    Raises
    ------
    UnreadableTime
        If no column is a clock, its date order is ambiguous, a date or a start is missing, or the repeated hour
        cannot be told apart.
    """
    reading = _find(grid, file, profile)
    column = " ".join(grid.names[i] for i in reading.columns)
    place = Place(file, column=column)
    stamps = _without_junk(reading.stamps, grid, place)
    guesses = [Guess("time_column", column, reading.what, 0.97)]
    if stamps.order and stamps.because:
        guesses.append(Guess("date_order", stamps.order, stamps.because, stamps.sure))
    junk = _junk_fault(stamps.seconds, grid, column)
    if stamps.zoned:
        guesses.append(Guess("time_zone", "UTC", "stamps carry their offset or count from 1970 in UTC", 1.0))
        return Times(stamps.seconds, reading.columns, "UTC", tuple(guesses), (*reading.faults, *junk), stamps.order,
            stamps.resolution_s)  # fmt: skip
    zone, guess = _zone(grid, reading, file, profile, time_zone)
    placed = place_on_utc(stamps.seconds, zone, file, column)
    if placed.because:
        guess = replace(guess, because=f"{guess.because}; {placed.because}")
    faults = (
        *reading.faults,
        *junk,
        *(replace(f, first_row=(f.first_row or 1) + grid.first_row - 1) for f in placed.faults),
    )
    return Times(placed.time_s, reading.columns, guess.value, (*guesses, guess), faults, stamps.order, stamps.resolution_s)  # fmt: skip


def _zone(grid: Grid, reading: _Reading, file: str, profile: Profile, time_zone: str) -> tuple[tzinfo, Guess]:
    if profile.time_zone:
        return find_zone(profile.time_zone, file), Guess("time_zone", profile.time_zone, "as stated for this file", 1.0)
    for index in reading.columns:
        heading = grid.names[index].replace("_", " ")
        if found := _HEADING_ZONE.search(heading):
            return find_zone(found[0]), Guess("time_zone", found[0], f"heading “{grid.names[index]}”", 0.97)
    for line in grid.preamble:
        if found := _PREAMBLE_ZONE.search(line):
            return find_zone(found[1], file), Guess(
                "time_zone", found[1], f"line “{line.strip()[:60]}” above the data", 0.95
            )
    because = "no stamp, heading or line of the file carries a zone; the session's zone is used"
    return find_zone(time_zone, file), Guess("time_zone", time_zone, because, 0.6)


def _find(grid: Grid, file: str, profile: Profile) -> _Reading:
    if profile.time_column is not None:
        if profile.time_column not in grid.names:
            raise UnreadableTime(place=Place(file), found=", ".join(grid.names)[:120],
                expected=f"a column “{profile.time_column}”", remedy="Name the time column as the file does.")  # fmt: skip
        order: Sequence[int] = [grid.names.index(profile.time_column)]
    else:
        order = sorted(range(len(grid.names)), key=lambda i: (_rank(grid.names[i]), i))
    for look in (_instant, _two_columns, _counted, _clock_and_date, _elapsed):
        for index in order:
            if reading := look(grid, index, file, profile):
                return reading
    times_of_day = [grid.names[i] for i in order if _is_clock(grid.columns[i])]
    if times_of_day:
        raise UnreadableTime(place=Place(file, column=times_of_day[0]), found="times of day without a date",
            expected="a date in the stamp, in a column of its own or stated for the file",
            remedy="State the date of the first row (declared_date).")  # fmt: skip
    raise UnreadableTime(place=Place(file), found=_looked_at(grid), expected="a column of time stamps",
        remedy="Name the time column (time_column) or, for elapsed seconds, state when the log started (start_utc).")  # fmt: skip


def _looked_at(grid: Grid) -> str:
    first = [as_text(c).drop_null()[:1].to_pylist() for c in grid.columns[:6]]
    return ", ".join(f"{n}: {v[0]}" if v else n for n, v in zip(grid.names, first, strict=False))[:160]


def _rank(name: str) -> int:
    words = words_of(name)
    for rank, word in enumerate(_PREFERRED):
        if word in words:
            return rank
    return len(_PREFERRED) if TIME_WORDS & set(words) else len(_PREFERRED) + 1


def _instant(grid: Grid, index: int, file: str, profile: Profile) -> _Reading | None:
    """Stamps with date and time, as the parser typed them or as text."""
    column = grid.columns[index]
    if pa.types.is_timestamp(column.type):
        seconds = to_floats(column.cast(pa.int64())) / {"s": 1, "ms": 1e3, "us": 1e6, "ns": 1e9}[column.type.unit]
        whole = pc.all(pc.equal(pc.second(column), 0)).as_py() if len(column) > 1 else False
        return _Reading(Stamps(seconds, column.type.tz is not None, resolution_s=60.0 if whole and _crowded(seconds) else 1.0),
            (index,), "ISO 8601 date and time")  # fmt: skip
    if not pa.types.is_string(column.type) or not _some(column, r"\d[./\- ]\s?\w+[./\- ,]|\d{8}|[A-Za-z]{3} \d"):
        return None
    stamps = parse_text_stamps(_numbers_apart(column), Place(file, column=grid.names[index]), profile.date_order)
    if stamps is None or not _some(column, r"\d[:.h]\d\d|T\d{4}"):
        return None
    return _with_serials(
        _Reading(stamps, (index,), f"dates with times such as “{_example(column)}”"), column, grid, index
    )


def _crowded(seconds: FloatArray) -> bool:
    return bool(np.any(np.diff(seconds) == 0))


def _numbers_apart(column: pa.Array) -> pa.Array:
    return pc.if_else(pc.match_substring_regex(column, r"^\d+(\.\d+)?$"), None, column)


def _with_serials(reading: _Reading, column: pa.Array, grid: Grid, index: int) -> _Reading:
    """Read the rows that a spreadsheet turned into day numbers between rows that it left as text."""
    is_number = pc.fill_null(pc.match_substring_regex(column, r"^\d{5}(\.\d+)?$"), False)
    if not pc.any(is_number).as_py():
        return reading
    numbers = to_floats(pc.if_else(is_number, column, None).cast(pa.float64()))
    if not excel_serial(numbers):
        return reading
    seconds = np.where(np.isfinite(numbers), from_excel(numbers), reading.stamps.seconds)
    count = int(np.isfinite(numbers).sum())
    sentence = f"{count} stamp(s) are spreadsheet day numbers between ordinary dates; they are read in the 1900 system."
    fault = Fault("spreadsheet_stamps", count, grid.first_row + int(np.flatnonzero(np.isfinite(numbers))[0]), grid.names[index], sentence)  # fmt: skip
    lost = Fault("seconds_lost", len(seconds) - count, None, grid.names[index],
        "The other stamps have no seconds: they are known to the minute only.")  # fmt: skip
    faults = (fault, lost) if reading.stamps.resolution_s >= 60 else (fault,)
    return replace(reading, stamps=replace(reading.stamps, seconds=seconds), faults=faults)


def _example(column: pa.Array) -> str:
    return next((str(t) for t in column[:50].to_pylist() if t), "")


def _some(column: pa.Array, pattern: str) -> bool:
    sample = column[:200].drop_null()
    return len(sample) > 0 and (pc.sum(pc.match_substring_regex(sample, pattern)).as_py() or 0) >= 0.3 * len(sample)


def _is_date(column: pa.Array) -> bool:
    if pa.types.is_date(column.type):
        return True
    return pa.types.is_string(column.type) and _some(column, r"^\s*\d{1,4}[./\- ]\s?\w+[./\- ]\s?\d{1,4}\s*$")


def _is_clock(column: pa.Array) -> bool:
    if pa.types.is_time(column.type):
        return True
    return pa.types.is_string(column.type) and _some(
        column, r"^\s*(\d+[ d]+)?\d{1,2}:\d{2}(:\d{2})?([.,]\d+)?\W*([AaPp]\.?[Mm]\.?)?\s*$"
    )


def _two_columns(grid: Grid, index: int, file: str, profile: Profile) -> _Reading | None:
    """A date in one column and the time of day in another."""
    if not _is_date(grid.columns[index]):
        return None
    clock = next((j for j in (*range(index + 1, len(grid.names)), *range(index)) if _is_clock(grid.columns[j])), None)
    if clock is None:
        return None
    both = pc.binary_join_element_wise(as_text(grid.columns[index]), as_text(grid.columns[clock]), " ")
    stamps = parse_text_stamps(both, Place(file, column=grid.names[index]), profile.date_order)
    return stamps and _Reading(stamps, (index, clock), f"date and time in two columns, such as “{_example(both)}”")


def _counted(grid: Grid, index: int, file: str, profile: Profile) -> _Reading | None:
    """Seconds since 1970 in some multiple, or spreadsheet days."""
    column = grid.columns[index]
    if not is_numeric(column):
        return None
    values = to_floats(column)
    named = bool(TIME_WORDS & set(words_of(grid.names[index]))) or profile.time_column is not None
    bare = not grid.has_heading or index == 0
    scale = epoch_scale(values)
    if scale and (named or bare or "epoch" in grid.names[index].casefold() or "unix" in grid.names[index].casefold()):
        digits = len(str(int(np.nanmax(values))))
        return _Reading(Stamps(values * scale[0], True), (index,), f"{digits} digits: {scale[1]} since 1970")
    if excel_serial(values) and (named or (bare and np.all(np.diff(values[np.isfinite(values)]) >= 0))):
        return _Reading(Stamps(from_excel(values), False), (index,), "spreadsheet day numbers of the 1900 system")
    return None


def _clock_and_date(grid: Grid, index: int, file: str, profile: Profile) -> _Reading | None:
    """Times of day under a date that is declared or stands above the data; the date turns at midnight."""
    if not _is_clock(grid.columns[index]):
        return None
    started = profile.declared_date and datetime(*profile.declared_date.timetuple()[:3], tzinfo=UTC)
    because = "the declared date"
    if started is None:
        started, because = _start_above(grid)
        started = started and started.replace(hour=0, minute=0, second=0)
    read = parse_clock(grid.columns[index].cast(pa.string()))
    if started is None or read is None:
        return None
    seconds, resolution = read
    known = np.isfinite(seconds)
    wraps = np.zeros(len(seconds))
    wraps[known] = np.cumsum(np.r_[0, np.diff(seconds[known]) < -43200])
    midnight = started.replace(tzinfo=UTC).timestamp()
    stamps = Stamps(midnight + seconds + 86400 * wraps, False, resolution_s=resolution)
    return _Reading(stamps, (index,), f"times of day on {started:%Y-%m-%d}, {because}")


def _start_above(grid: Grid) -> tuple[datetime | None, str]:
    for line in grid.preamble:
        if found := _PREAMBLE_START.search(line):
            return datetime.fromisoformat(
                found[1].strip().replace("Z", "+00:00")
            ), f"line “{line.strip()[:60]}” above the data"
    return None, ""


def _elapsed(grid: Grid, index: int, file: str, profile: Profile) -> _Reading | None:
    """Seconds, minutes or hours since a start that is stated."""
    column, name = grid.columns[index], grid.names[index]
    words = set(words_of(name))
    if not (is_numeric(column) or _is_clock(column)) or not (
        words & _ELAPSED_WORDS or profile.time_column or words & TIME_WORDS
    ):
        return None
    start, because = (profile.start_utc, "as stated") if profile.start_utc else _start_above(grid)
    clock = None if is_numeric(column) else parse_clock(column.cast(pa.string()))
    values = clock[0] if clock else to_floats(column) if is_numeric(column) else None
    if values is None or np.any(np.diff(values[np.isfinite(values)]) < 0):
        return None
    unit = find_unit(grid.units[index]) or next(
        (u for w in words_of(name)[::-1] if (u := find_unit(w)) and u.quantity == "duration"), None
    )
    factor = unit.factor if unit and unit.quantity == "duration" and clock is None else 1.0
    if start is None:
        raise UnreadableTime(place=Place(file, column=name), found="elapsed time without a start",
            expected="the instant at which it began to count", remedy="State when the log started (start_utc).")  # fmt: skip
    zoned = start.tzinfo is not None
    begin = (start if zoned else start.replace(tzinfo=UTC)).timestamp()
    said = (
        f"{'s' if factor == 1 else unit.symbol if unit else 's'} since the start {start:%Y-%m-%d %H:%M:%S} ({because})"
    )
    return _Reading(Stamps(begin + values * factor, zoned), (index,), said)


def _without_junk(stamps: Stamps, grid: Grid, place: Place) -> Stamps:
    """Refuse a clock that most rows do not have; a few rows without are footers and notes."""
    missing = np.isnan(stamps.seconds)
    if missing.sum() > max(5, 0.2 * len(missing)) or missing.all():
        row = int(np.flatnonzero(missing)[0])
        text = as_text(
            grid.columns[grid.names.index(place.column or "")] if place.column in grid.names else grid.columns[0]
        )
        raise UnreadableTime(place=Place(place.file, grid.first_row + row, place.column), found=str(text[row].as_py())[:60],
            expected="a time stamp like those in the other rows", remedy="Correct or delete such rows.")  # fmt: skip
    return stamps


def _junk_fault(seconds: FloatArray, grid: Grid, column: str) -> tuple[Fault, ...]:
    junk = np.flatnonzero(np.isnan(seconds))
    if not len(junk):
        return ()
    row = grid.first_row + int(junk[0])
    return (Fault("row_without_time", len(junk), row, column,
        f"{len(junk)} row(s) have no readable time stamp (footers, notes, broken lines) and are left out; first row {row}."),)  # fmt: skip
