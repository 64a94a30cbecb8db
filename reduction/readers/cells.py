"""What a cell of a text table looks like: a number, a stamp, a word for missing, or a heading."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reduction.readers.grid import MISSING_WORDS
from reduction.readers.vocabulary import find_unit

_NUMBER = re.compile(r"^[+\-−]?[\d  ]*[\d][\d.,'’]*(?:[eE][+\-]?\d+)?\s*$")
STAMP = re.compile(r"\d[./:\-]\d|^\d{9,}|\d\s*[AaPp]\.?[Mm]|\d{1,2}[ \-][A-Za-z]{3}")
_MONTH_FIRST = re.compile(
    r"^(?:[A-Za-z]{2,9}\.?,?\s+)?(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?\s+\d{1,2}[, ]",
    re.IGNORECASE,
)
_NUMBER_WITH_UNIT = re.compile(r"^[+\-−]?\d[\d.,]*\s*([^\d\s].{0,8})$")
_WIDE_BLANK = str.maketrans({"\u202f": " ", "\u00a0": " ", "\u2009": " "})


def is_reading(cell: str) -> bool:
    """Tell whether a cell holds a number, perhaps with its unit."""
    text = cell.strip().translate(_WIDE_BLANK)
    if _NUMBER.match(text):
        return True
    found = _NUMBER_WITH_UNIT.match(text)
    return bool(found and find_unit(found[1]))


def is_data(cell: str) -> bool:
    """Tell whether a cell could stand in a data row: a number, a stamp, or a word for missing."""
    return is_reading(cell) or bool(STAMP.search(cell)) or (cell.strip() in MISSING_WORDS and bool(cell.strip()))


def looks_like_heading(row: Sequence[str]) -> bool:
    """Tell a heading with digits (`Temp 1`, `Date Time, GMT-04:00`) from data: no cell begins like a number."""
    return not any(re.match(r"^\s*[+\-−]?[.,]?\d", c.translate(_WIDE_BLANK)) for c in row) and not any(
        _MONTH_FIRST.match(c.strip()) for c in row
    )
