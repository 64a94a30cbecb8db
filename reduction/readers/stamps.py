"""Texts and numbers that stand for instants, turned into seconds, whole columns at once."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from reduction.errors import Place, UnreadableTime
from reduction.readers.grid import as_text
from reduction.readers.stamp_order import in_usual_order
from reduction.readers.table import FloatArray, Question

_MONTHS = {
    "jan": 1, "ene": 1, "feb": 2, "fév": 2, "fev": 2, "mar": 3, "mär": 3, "mrz": 3, "apr": 4, "avr": 4, "abr": 4,
    "may": 5, "mai": 5, "jun": 6, "jui": 6, "juil": 7, "jul": 7, "aug": 8, "aoû": 8, "aou": 8, "ago": 8, "sep": 9,
    "oct": 10, "okt": 10, "nov": 11, "dec": 12, "dez": 12, "déc": 12, "dic": 12,
}  # fmt: skip
_MONTH = r"[A-Za-zäéûÄÉ]{3,10}\.?"
_CLOCK = (
    r"(?P<h>\d{1,2})[:.h](?P<m>\d{2})(?:[:.m](?P<s>\d{2}(?:[.,:]\d{1,9})?))?s?"
    r"\s*(?P<half>[AaPp]\.?\s?[Mm]\.?)?"
)
ZONE_NAMES = {  # where one name is used in several parts of the world, the one of Europe or North America
    "CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2, "BST": 1, "WET": 0, "WEST": 1, "EET": 2, "EEST": 3, "EST": -5, "EDT": -4,
    "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7, "AEST": 10, "AEDT": 11,
}  # fmt: skip
_ZONE = (
    r"\s*(?P<zone>"
    + "|".join(sorted(ZONE_NAMES, key=len, reverse=True))
    + r"|Z|z|UTC|GMT|(?:UTC|GMT)?\s?[+\-]\d{2}:?\d{2}|[+\-]\d{2})?(?:\s*\[[^\]]*\])?"
)
_DATE = (
    r"(?:[A-Za-z]{2,10}\.?,?\s+)??(?P<a>\d{1,4}|" + _MONTH + r")(?:\s*[./\-]\s*|\s+)"
    r"(?P<b>\d{1,2}|" + _MONTH + r")(?:\s*[./\-,]\s*|\s+)(?P<c>\d{1,4})"
)
FULL = f"^{_DATE}(?:(?:[T,_]\\s*|\\s+|,\\s*|\\s+-\\s+|:){_CLOCK}{_ZONE})?$"
CLOCK_ONLY = f"^(?:(?P<days>\\d{{1,3}})[ d]+)?{_CLOCK}{_ZONE}$"
_DOTTED = re.compile(r"^\D*\d{1,2}\.\s?\d{1,2}\.\s?\d{2,4}\b")
COMPACT = r"^(?P<a>\d{4})(?P<b>\d{2})(?P<c>\d{2})[T _\-]?(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})?(?P<zone>Z)?$"


@dataclass(frozen=True)
class Stamps:
    """Instants of a column: seconds since 1970 on the clock they were written by.

    `zoned` where the stamps carry their own offset (then `seconds` is UTC); `resolution_s` is the finest step seen.
    `order` is the date order found, with the sentence that says how.
    """

    seconds: FloatArray
    zoned: bool
    order: str | None = None
    because: str = ""
    sure: float = 1.0
    resolution_s: float = 1.0


class AmbiguousDate(UnreadableTime):
    """Day and month cannot be told apart; `question` is what to ask."""

    def __init__(self, place: Place, found: str) -> None:
        self.question = Question(
            "date_order", ("day_first", "month_first"), f"{found} fits both orders and no row of the column settles it"
        )
        super().__init__(
            place=place, found=found, expected="a date that can be read in one way only",
            remedy="Say whether the day or the month comes first (date_order: day_first or month_first).",
        )  # fmt: skip

    def __reduce__(self) -> tuple[object, ...]:
        """Travel between processes as it was made."""
        return type(self), (self.place, self.found)


def days_from_civil(year: FloatArray, month: FloatArray, day: FloatArray) -> FloatArray:
    """Return days since 1970-01-01 of Gregorian dates, NaN where the date does not exist.

    Examples
    --------
    >>> days_from_civil(np.array([2026.0]), np.array([7.0]), np.array([14.0]))
    array([20648.])
    """
    with np.errstate(invalid="ignore"):
        valid = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1900) & (year < 2200)
    y, m, d = (np.where(valid, x, fill).astype(np.int64) for x, fill in ((year, 1970), (month, 1), (day, 1)))
    first = (y - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (m - 1)
    days = first.astype("datetime64[D]") + (d - 1)
    exists = valid & (days.astype("datetime64[M]") == first)
    return np.where(exists, days.astype(np.int64), np.nan).astype(np.float64)


def _number(group: pa.Array) -> FloatArray:
    text = pc.replace_substring(group, ",", ".") if pc.any(pc.match_substring(group, ",")).as_py() else group
    filled = pc.if_else(pc.or_kleene(pc.is_null(text), pc.equal(text, "")), "nan", text)
    return np.asarray(filled.cast(pa.float64()).to_numpy(zero_copy_only=False), dtype=np.float64)


def _month_or_number(group: pa.Array) -> tuple[FloatArray, bool]:
    """Return numbers of a date field, month names read in four languages, and whether there was a name."""
    has_name = bool(pc.any(pc.match_substring_regex(group, "[A-Za-z]")).as_py())
    if not has_name:
        return _number(group), False
    encoded = group.dictionary_encode()

    def read(text: str | None) -> float:
        if text and text[0].isdigit():
            return float(text)
        key = (text or "").casefold().strip(".")
        return float(_MONTHS.get(key[:4], _MONTHS.get(key[:3], np.nan)))

    table = np.array([read(t) for t in encoded.dictionary.to_pylist()] + [np.nan])
    return table[np.asarray(encoded.indices.fill_null(len(table) - 1))], True


def _clock_seconds(fields: dict[str, pa.Array]) -> FloatArray:
    hour = _number(fields["h"])
    minute = np.nan_to_num(_number(fields["m"]))
    second = np.nan_to_num(_number(pc.replace_substring(fields["s"], ":", ".")))
    half = fields.get("half")
    if half is not None and pc.any(pc.not_equal(half, "")).as_py():
        evening = np.asarray(pc.match_substring_regex(half, "^[Pp]").fill_null(False))
        morning = np.asarray(pc.match_substring_regex(half, "^[Aa]").fill_null(False))
        bad = (evening | morning) & ((hour < 1) | (hour > 12))
        hour = np.where(evening | morning, hour % 12 + 12 * evening, hour)
        hour[bad] = np.nan
    seconds = np.nan_to_num(hour) * 3600 + minute * 60 + second
    seconds[(hour > 24) | (minute > 59) | (second >= 61)] = np.nan
    return np.asarray(seconds, dtype=np.float64)


def _zone_seconds(zone: pa.Array) -> tuple[FloatArray, bool]:
    """Return the written offsets [s] and whether the column carries any."""
    encoded = zone.dictionary_encode()
    texts = encoded.dictionary.to_pylist()

    def read(text: str | None) -> float:
        if text in ZONE_NAMES:
            return ZONE_NAMES[text] * 3600.0
        found = re.search(r"([+\-])(\d{2}):?(\d{2})?", text or "")
        return (1 if found[1] == "+" else -1) * (int(found[2]) * 3600 + int(found[3] or 0) * 60) if found else 0.0

    table = np.array([read(t) for t in texts] + [0.0])
    return table[np.asarray(encoded.indices.fill_null(len(texts)))], any(texts)


def _fields(text: pa.Array, pattern: str) -> dict[str, pa.Array]:
    found = pc.extract_regex(text, pattern)
    return {f.name: found.field(i) for i, f in enumerate(found.type)}


def parse_text_stamps(column: pa.Array, place: Place, date_order: str | None = None) -> Stamps | None:
    """Read a column of texts as dates with times, or return None where most rows are no dates.

    Raises
    ------
    AmbiguousDate
        If day and month cannot be told apart over the whole column.
    """
    text = in_usual_order(as_text(column))
    matched = pc.match_substring_regex(text, FULL)
    if (pc.sum(matched).as_py() or 0) < 0.5 * max(1, len(text) - text.null_count):
        return _parse_compact(text)
    fields = _fields(text, FULL)
    a, a_name = _month_or_number(fields["a"])
    b, b_name = _month_or_number(fields["b"])
    c = _number(fields["c"])
    clock = _clock_seconds(fields)
    offset, zoned = _zone_seconds(fields["zone"])
    year, month, day, order, because, sure = _ordered(a, b, c, a_name, b_name, date_order, text, clock, place)
    year = np.where(year < 100, year + np.where(year < 70, 2000, 1900), year)
    seconds = days_from_civil(year, month, day) * 86400 + clock - offset
    return Stamps(seconds, zoned, order, because, sure, _resolution(fields))


def _parse_compact(text: pa.Array) -> Stamps | None:
    matched = pc.match_substring_regex(text, COMPACT)
    if (pc.sum(matched).as_py() or 0) < 0.5 * max(1, len(text) - text.null_count):
        return None
    fields = _fields(text, COMPACT)
    days = days_from_civil(_number(fields["a"]), _number(fields["b"]), _number(fields["c"]))
    _, zoned = _zone_seconds(fields["zone"])
    return Stamps(days * 86400 + _clock_seconds(fields), zoned, "year_first", "digits run from the year down")


def _resolution(fields: dict[str, pa.Array]) -> float:
    if pc.all(pc.equal(pc.fill_null(fields["s"], ""), "")).as_py():
        return 60.0
    return 1.0


Ordered = tuple[FloatArray, FloatArray, FloatArray, str, str, float]


def _ordered(
    a: FloatArray, b: FloatArray, c: FloatArray, a_name: bool, b_name: bool, asked: str | None,
    text: pa.Array, clock: FloatArray, place: Place,
) -> Ordered:  # fmt: skip
    """Tell year, month and day apart, from the whole column."""
    a_max, b_max = (float(np.nanmax(x)) if np.isfinite(x).any() else 0.0 for x in (a, b))
    if a_name:
        return c, a, b, "month_first", "months are written as names", 1.0
    if a_max > 31 or asked == "year_first":
        return a, b, c, "year_first", "the first number is a year", 1.0
    if b_name:
        return c, b, a, "day_first", "months are written as names", 1.0
    if asked in {"day_first", "month_first"}:
        month, day = (b, a) if asked == "day_first" else (a, b)
        return c, month, day, asked, "as stated", 1.0
    if (a_max > 12) != (b_max > 12):
        order, value = ("day_first", a_max) if a_max > 12 else ("month_first", b_max)
        month, day = (b, a) if a_max > 12 else (a, b)
        return (
            c,
            month,
            day,
            order,
            f"a {'first' if a_max > 12 else 'second'} number of {value:.0f} can only be a day",
            1.0,
        )
    example = next((t for t in text.to_pylist() if t), "")
    if a_max > 12:
        raise UnreadableTime(place=place, found=example, expected="one order of day and month in the whole column",
            remedy="Split the file where the order changes, or correct the stamps.")  # fmt: skip
    return _order_by_continuity(a, b, c, clock, example, place)


def _order_by_continuity(
    a: FloatArray, b: FloatArray, c: FloatArray, clock: FloatArray, example: str, place: Place
) -> Ordered:
    """Settle the order by the run of days: a log that passes midnight goes on the next day, not the next month."""
    day_first = days_from_civil(c + 2000 * (c < 100), b, a) * 86400 + clock
    month_first = days_from_civil(c + 2000 * (c < 100), a, b) * 86400 + clock
    jumps = [float(np.nanmax(np.abs(np.diff(x[np.isfinite(x)])), initial=0.0)) for x in (day_first, month_first)]
    lo, hi = min(jumps), max(jumps)
    if hi >= 27 * 86400 and lo <= 2 * 86400 and np.isfinite(day_first).all() and np.isfinite(month_first).all():
        order = "day_first" if jumps[0] == lo else "month_first"
        month, day = (b, a) if order == "day_first" else (a, b)
        because = (
            f"read so, the file goes on after midnight; the other way it would jump by {hi / 86400:.0f} days at a time"
        )
        return c, month, day, order, because, 0.95
    if _DOTTED.match(example):
        return c, b, a, "day_first", "dates written with dots put the day first wherever they are used", 0.9
    raise AmbiguousDate(place, example)


def parse_clock(column: pa.Array) -> tuple[FloatArray, float] | None:
    """Read a column of times of day or durations as seconds and their resolution; None where most are no times."""
    text = as_text(column)
    matched = pc.match_substring_regex(text, CLOCK_ONLY)
    if (pc.sum(matched).as_py() or 0) < 0.5 * max(1, len(text) - text.null_count):
        return None
    fields = _fields(text, CLOCK_ONLY)
    seconds = _clock_seconds(fields) + 86400 * np.nan_to_num(_number(fields["days"]))
    seconds[~np.asarray(matched.fill_null(False))] = np.nan
    return seconds, _resolution(fields)


def epoch_scale(values: FloatArray) -> tuple[float, str] | None:
    """Return the factor to seconds of numbers that count from 1970, and its name; None where they do not.

    Examples
    --------
    >>> epoch_scale(np.array([1784052300000.0]))
    (0.001, 'ms')
    """
    known = values[np.isfinite(values)]
    if not len(known):
        return None
    lo, hi = float(known.min()), float(known.max())
    for scale, unit in ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs"), (1e-9, "ns")):
        if lo * scale >= 946_684_800 and hi * scale <= 4_102_444_800:  # the years 2000 to 2100
            return scale, unit
    return None


def excel_serial(values: FloatArray) -> bool:
    """Tell whether numbers look like spreadsheet days of the 1900 system, 2000 to 2100."""
    known = values[np.isfinite(values)]
    return bool(len(known)) and float(known.min()) >= 36526.0 and float(known.max()) <= 73050.0


def from_excel(values: FloatArray) -> FloatArray:
    """Convert spreadsheet days (1900 system; day 25569 is 1970-01-01) to seconds, rounded to a millisecond.

    Examples
    --------
    >>> from_excel(np.array([46217.587152778])).astype("datetime64[s]")
    array(['2026-07-14T14:05:30'], dtype='datetime64[s]')
    """
    return np.round((values - 25569.0) * 86400.0, 3)
