"""What a file asks, in words: the question, what speaks for it, and what each answer would mean."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from tests_app.models import SessionFile

OF_UNIT = "unit of "
TITLES = {
    "date_order": "Is the day or the month first?",
    "decimal": "Is the mark in its numbers decimal?",
    "stamp": "What does a time stamp mark?",
}
MEANINGS = {
    ("date_order", "day_first"): "Day first",
    ("date_order", "month_first"): "Month first",
    ("decimal", "."): "The point is decimal",
    ("decimal", ","): "The point groups thousands; the decimal mark is a comma",
    ("stamp", "interval_end"): "The end of each interval",
    ("stamp", "interval_start"): "The start of each interval",
}
DATE = re.compile(r"\D*(0?[1-9]|1[0-2])\D(0?[1-9]|1[0-2])\D(\d{2}|20\d{2})(?!\d)")
LAST_SHORT_YEAR = 99


@dataclass(frozen=True)
class Asked:
    """A question of a file; `is_read` where the file is read meanwhile as the program thinks likeliest."""

    what: str
    options: tuple[str, ...]
    because: str
    found: str = ""
    lines: tuple[str, ...] = ()
    is_read: bool = False

    @classmethod
    def of(cls, stored: Mapping[str, Any], *, is_read: bool = False) -> Asked:
        """Return a question as the reading keeps it."""
        fields = {name: stored[name] for name in ("what", "because", "found") if name in stored}
        return cls(options=tuple(stored["options"]), lines=tuple(stored.get("lines", ())), is_read=is_read, **fields)

    @property
    def title(self) -> str:
        """The question as a person asks it."""
        return TITLES.get(self.what) or f"Which unit is “{self.column_of_unit}” in?"

    @property
    def column_of_unit(self) -> str:
        """The column whose unit is asked; empty for any other question."""
        return self.what.removeprefix(OF_UNIT) if self.what.startswith(OF_UNIT) else ""

    @property
    def choices(self) -> list[tuple[str, str]]:
        """Each answer with what it means, shown on the value that the file holds."""
        return [(option, self._meaning(option)) for option in self.options]

    def _meaning(self, option: str) -> str:
        words = MEANINGS.get((self.what, option), option)
        example = _as_read(self.what, option, self.found)
        return f"{words}: {self.found} is {example}" if example else words


def _as_read(what: str, option: str, found: str) -> str:
    """Return a value of the file as it would be read; nothing where that cannot be shown shortly."""
    if what == "decimal":
        return found if option == "." else found.replace(".", "")
    written = DATE.match(found) if what == "date_order" else None
    if written is None:
        return ""
    first, second, year = map(int, written.groups())
    day, month = (first, second) if option == "day_first" else (second, first)
    return f"{date(year if year > LAST_SHORT_YEAR else 2000 + year, month, day):%-d %B %Y}"


def open_in(file: SessionFile) -> list[Asked]:
    """Return what a file still asks: first what keeps it from being read."""
    asks = file.reading.get("asks")
    if asks:
        return [Asked.of(asks)]
    return [Asked.of(one, is_read=True) for log in file.reading.get("logs", ()) for one in log["questions"]]
