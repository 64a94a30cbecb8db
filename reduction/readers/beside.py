"""What the columns beside a column say of it: that it repeats one of them in another way, or is the meter's own."""

from __future__ import annotations

from collections.abc import Iterator

from reduction.readers.headings import words_of
from reduction.readers.place_words import role_by_words
from reduction.readers.table import Column, Log
from reduction.readers.words import meanings, words_for

_SPREAD = {"maximum": "the greatest", "minimum": "the least", "deviation": "the deviation"}
_METERED = {"voltage", "current", "apparent power", "apparent_power", "power factor"}
_METERS_PER_FILE = 1


def set_aside(log: Log) -> Iterator[tuple[Column, str]]:
    """Yield the columns of a file that another one makes needless for the test, each with the reason."""
    middles = {_stem(c): c.name for c in log.columns if _statistic(c) not in _SPREAD}
    counters = [c for c in log.columns if c.quantity == "energy" and not _register(c)]
    own = _is_one_meter(log)
    for column in log.columns:
        if (word := _SPREAD.get(_statistic(column))) and (middle := middles.get(_stem(column))):
            yield column, f"{word} of each interval, whose middle is “{middle}”"
        elif (register := _register(column)) and (register not in words_for("part", "current_register") or counters):
            yield column, f"a register of “{register}”, which starts anew while the test may run"
        elif own and column.quantity == "temperature" and not role_by_words(words_of(column.name), "temperature"):
            yield column, "a temperature in the file of one meter and of no place: the meter's own"


def _statistic(column: Column) -> str:
    known = meanings("statistic")
    return next((known[w] for w in reversed(words_of(column.name)) if w in known), "")


def _stem(column: Column) -> tuple[str, ...]:
    return tuple(w for w in words_of(column.name) if w not in meanings("statistic"))


def _register(column: Column) -> str:
    """Return the word for a span of the calendar in the heading of an energy."""
    if column.quantity != "energy":
        return ""
    return next((w for w in words_of(column.name) if w in words_for("part", "register")), "")


def _is_one_meter(log: Log) -> bool:
    quantities = [c.quantity for c in log.columns]
    return quantities.count("power") == _METERS_PER_FILE and bool(_METERED & {*quantities, *_spoken(log)})


def _spoken(log: Log) -> Iterator[str]:
    known = meanings("quantity")
    return (known[w] for c in log.columns for w in words_of(c.name) if w in known)
