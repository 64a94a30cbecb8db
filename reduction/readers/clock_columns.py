"""Ways in which a column can be a clock, from the plainest to the least."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from pathlib import PurePath

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from reduction.errors import Place, UnreadableTime
from reduction.readers.grid import Grid, as_text, is_numeric, to_floats
from reduction.readers.headings import words_of
from reduction.readers.stamps import Stamps, epoch_scale, excel_serial, from_excel, parse_clock, parse_text_stamps
from reduction.readers.table import Fault, FloatArray
from reduction.readers.vocabulary import PhysicalUnit, find_unit
from reduction.readers.words import words_for
from reduction.session import Profile

_START_ABOVE = re.compile(
    r"(?:start|begin|début|inicio|beginn|date|datum|fecha)\w*(?:\s+\w+)?\W{1,4}"
    r"(\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2})?)?\s?(?:Z|[+\-]\d{2}:\d{2})?)",
    re.IGNORECASE,
)
_DATE_IN_NAME = re.compile(r"(?<!\d)(20\d{2})[-_.]?(\d{2})[-_.]?(\d{2})(?!\d)")
_HALF_DAY_S, _DAY_S = 43_200.0, 86_400.0
_SAMPLE = 1000
_PER_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}


@dataclass(frozen=True)
class Reading:
    """A column, or two, read as a clock: the stamps, which columns, and the words for it."""

    stamps: Stamps
    columns: tuple[int, ...]
    what: str
    faults: tuple[Fault, ...] = ()


def instants(grid: Grid, index: int, file: str, profile: Profile) -> Reading | None:
    """Stamps with date and time, as the parser typed them or as text."""
    column = grid.columns[index]
    if pa.types.is_timestamp(column.type):
        if len(column) > 1 and _is_date(column) and any(is_clock(c) for c in grid.columns):
            return None
        seconds = to_floats(column.cast(pa.int64())) / _PER_SECOND[column.type.unit]
        to_minute = not np.any(seconds[:_SAMPLE] % 60) and not np.any(seconds % 60)
        stamps = Stamps(seconds, column.type.tz is not None, resolution_s=60.0 if to_minute else 1.0)
        return Reading(stamps, (index,), "ISO 8601 date and time")
    if not may_be_instants(column) or (_is_date(column) and any(is_clock(c) for c in grid.columns)):
        return None
    texts = pc.if_else(pc.match_substring_regex(column, r"^\d+\.\d+$"), None, column)
    read = parse_text_stamps(texts, Place(file, column=grid.names[index]), profile.date_order)
    if read is None:
        return None
    return _with_serials(Reading(read, (index,), f"dates with times such as “{_example(column)}”"), grid)


def may_be_instants(column: pa.Array) -> bool:
    """Tell texts that look like dates with times of day."""
    return (
        pa.types.is_string(column.type)
        and _some(column, r"\d[./\- ]\s?\S+[./\- ,]|\d{8}|[A-Za-z]{3} \d|\d{4}-\d{3}T")
        and _some(column, r"\d[:.h]\d\d|T\d{4}|\d{12}")
    )


def _with_serials(reading: Reading, grid: Grid) -> Reading:
    """Read the rows that a spreadsheet turned into day numbers between rows that it left as text."""
    index = reading.columns[0]
    column = grid.columns[index]
    is_number = pc.fill_null(pc.match_substring_regex(column, r"^\d{5}\.\d+$"), False)
    numbers = to_floats(pc.if_else(is_number, column, None).cast(pa.float64()))
    here = np.isfinite(numbers)
    if not excel_serial(numbers):
        return reading
    count, row = int(here.sum()), grid.row_number(int(np.flatnonzero(here)[0]))
    faults = [Fault("spreadsheet_stamps", count, row, grid.names[index],
        f"{count} stamp(s) are spreadsheet day numbers between dates; they are read in the 1900 system.")]  # fmt: skip
    if reading.stamps.resolution_s > 1:
        faults.append(Fault("seconds_lost", len(here) - count, None, grid.names[index],
            f"{len(here) - count} stamp(s) have no seconds: they are known to the minute only."))  # fmt: skip
    seconds = np.where(here, from_excel(numbers), reading.stamps.seconds)
    return replace(reading, stamps=replace(reading.stamps, seconds=seconds), faults=tuple(faults))


def two_columns(grid: Grid, index: int, file: str, profile: Profile) -> Reading | None:
    """A date in one column and the time of day in another."""
    if not _is_date(grid.columns[index]):
        return None
    others = (*range(index + 1, len(grid.names)), *range(index))
    clock = next((j for j in others if is_clock(grid.columns[j])), None)
    if clock is None:
        return None
    date_column = grid.columns[index]
    days = date_column.cast(pa.date32()) if pa.types.is_timestamp(date_column.type) else date_column
    both = pc.binary_join_element_wise(as_text(days), as_text(grid.columns[clock]), " ")
    stamps = parse_text_stamps(both, Place(file, column=grid.names[index]), profile.date_order)
    if stamps is None:
        return None
    return Reading(stamps, (index, clock), f"date and time in two columns, such as “{_example(both)}”")


def counted(grid: Grid, index: int, file: str, profile: Profile) -> Reading | None:
    """Seconds since 1970 in some multiple, or spreadsheet days."""
    column = grid.columns[index]
    if not is_numeric(column):
        return None
    values = to_floats(column)
    named = bool(words_for("part", "time") & set(words_of(grid.names[index]))) or profile.time_column is not None
    first = index == 0 or not grid.has_heading
    if (scale := epoch_scale(values)) and (named or first):
        digits = len(str(int(np.nanmax(values))))
        return Reading(Stamps(values * scale[0], True), (index,), f"{digits} digits: {scale[1]} since 1970")
    if excel_serial(values) and (named or (first and _never_falls(values))):
        return Reading(Stamps(from_excel(values), False), (index,), "spreadsheet day numbers of the 1900 system")
    return None


def times_of_day(grid: Grid, index: int, file: str, profile: Profile) -> Reading | None:
    """Times of day under a date that is declared or stands above the data; the date turns at midnight."""
    read = parse_clock(grid.columns[index].cast(pa.string())) if is_clock(grid.columns[index]) else None
    if read is None or words_for("part", "elapsed") & set(words_of(grid.names[index])):
        return None
    faults: tuple[Fault, ...] = ()
    if profile.declared_date:
        day, because = profile.declared_date, "as declared"
    else:
        above, because = _start_above(grid)
        named = above.date() if above else _date_in_name(file)
        if named is None:
            return None
        day, because = named, because or f"the date in the file's name “{PurePath(file).name}”"
        if above is None:
            sentence = f"The stamps are times of day; they are taken to begin on {day}, the date in the file's name."
            faults = (Fault("date_from_name", len(grid), None, grid.names[index], sentence),)
    seconds, resolution = read
    known = np.isfinite(seconds)
    turns = np.zeros(len(seconds))
    turns[known] = np.cumsum(np.r_[0, np.diff(seconds[known]) < -_HALF_DAY_S])
    stamps = Stamps(_midnight_s(day) + seconds + _DAY_S * turns, False, resolution_s=resolution)
    return Reading(stamps, (index,), f"times of day on {day:%Y-%m-%d}, {because}", faults)


def _date_in_name(file: str) -> date | None:
    """Return the one date, year first, that a file's name holds.

    Examples
    --------
    >>> _date_in_name("logs/bench_20260714.csv"), _date_in_name("bench_14.csv")
    (datetime.date(2026, 7, 14), None)
    """
    found = set()
    for digits in _DATE_IN_NAME.findall(PurePath(file).name):
        with suppress(ValueError):
            found.add(date(*(int(part) for part in digits)))
    return found.pop() if len(found) == 1 else None


def _midnight_s(day: date) -> float:
    return datetime.combine(day, time(), UTC).timestamp()


def _start_above(grid: Grid) -> tuple[datetime | None, str]:
    for line in grid.preamble:
        if found := _START_ABOVE.search(line):
            try:
                start = datetime.fromisoformat(found[1].strip().replace("Z", "+00:00"))
            except ValueError:
                continue
            return start, f"line “{line.strip()[:60]}” above the data"
    return None, ""


def elapsed(grid: Grid, index: int, file: str, profile: Profile) -> Reading | None:
    """Seconds, minutes or hours since a start that is stated."""
    column, name = grid.columns[index], grid.names[index]
    heading = set(words_of(name))
    if not (
        heading & words_for("part", "elapsed")
        or profile.time_column
        or (heading & words_for("part", "time") and is_numeric(column))
    ):
        return None
    values, unit = _counted_from_start(grid, index)
    if values is None or not _never_falls(values):
        return None
    start, because = (profile.start_utc, "as stated") if profile.start_utc else _start_above(grid)
    if start is None:
        raise UnreadableTime(place=Place(file, column=name), found="elapsed time without a start",
            expected="the instant at which it began", remedy="State when the log started (start_utc).")  # fmt: skip
    zoned = start.tzinfo is not None
    begin = (start if zoned else start.replace(tzinfo=UTC)).timestamp()
    said = f"{unit.symbol if unit else 's'} since the start {start:%Y-%m-%d %H:%M:%S}, {because}"
    return Reading(Stamps(begin + values * (unit.factor if unit else 1.0), zoned), (index,), said)


def _counted_from_start(grid: Grid, index: int) -> tuple[FloatArray | None, PhysicalUnit | None]:
    """Return elapsed counts and the unit their heading gives; durations written as clocks are in seconds."""
    column = grid.columns[index]
    if is_numeric(column):
        named = [find_unit(grid.units[index]), *(find_unit(w) for w in reversed(words_of(grid.names[index])))]
        return to_floats(column), next((u for u in named if u and u.quantity == "duration"), None)
    read = parse_clock(column.cast(pa.string())) if is_clock(column) else None
    return (read[0] if read else None), None


def _never_falls(values: FloatArray) -> bool:
    return bool(np.all(np.diff(values[np.isfinite(values)]) >= 0))


def _example(column: pa.Array) -> str:
    return next((str(t).translate({0x202F: " ", 0xA0: " "}) for t in column[:50].to_pylist() if t), "")


def _some(column: pa.Array, pattern: str) -> bool:
    sample = column[:200].drop_null()
    return len(sample) > 0 and (pc.sum(pc.match_substring_regex(sample, pattern)).as_py() or 0) >= 0.3 * len(sample)


def _is_date(column: pa.Array) -> bool:
    if pa.types.is_date(column.type):
        return True
    if pa.types.is_timestamp(column.type):
        return all(_on_the_day(part) for part in (column[:_SAMPLE], column))
    return pa.types.is_string(column.type) and _some(column, r"^\s*\d{1,4}[./\- ]\s?\S+[./\- ]\s?\d{1,4}\s*$")


def _on_the_day(column: pa.Array) -> bool:
    return bool(pc.all(pc.equal(column, pc.floor_temporal(column, unit="day"))).as_py())


def is_clock(column: pa.Array) -> bool:
    """Tell a column of times of day or durations."""
    if pa.types.is_time(column.type):
        return True
    pattern = r"^\s*(\d+[ d]+)?\d{1,2}:\d{2}(:\d{2})?([.,]\d+)?[^A-Za-z0-9]*([AaPp]\.?[Mm]\.?)?\s*$"
    return pa.types.is_string(column.type) and _some(column, pattern)
