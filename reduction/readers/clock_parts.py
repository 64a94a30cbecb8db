"""A clock written in a column each for year, month, day, hour and so on, as weather stations write it."""

from __future__ import annotations

import numpy as np

from reduction.readers.clock_columns import Reading
from reduction.readers.grid import Grid, is_numeric, to_floats
from reduction.readers.headings import words_of
from reduction.readers.stamps import Stamps, days_from_civil
from reduction.readers.table import FloatArray
from reduction.readers.words import words_for
from reduction.session import Profile

_PARTS = ("year", "month", "day", "hour", "minute", "second")
_NEEDED = 4
_SECONDS = (3600.0, 60.0, 1.0)
_SHORT_YEAR = 100


def separate_parts(grid: Grid, index: int, file: str, profile: Profile) -> Reading | None:
    """Year, month, day and hour at least, each in a column of its own that is named so; the file's first such."""
    if profile.time_column is not None or not _is(grid, index, "year"):
        return None
    columns = [next((i for i in range(len(grid.names)) if _is(grid, i, part)), None) for part in _PARTS]
    found = tuple(i for i in columns if i is not None)
    if None in columns[:_NEEDED] or len(set(found)) < len(found):
        return None
    year, month, day, *clock = (_counts(grid, i) for i in columns)
    year = np.where(year < _SHORT_YEAR, year + 2000, year)
    seconds = days_from_civil(year, month, day) * 86_400.0
    seconds += sum(part * factor for part, factor in zip(clock, _SECONDS, strict=True))
    if not np.isfinite(seconds).any():
        return None
    said = f"a column each for {', '.join(part for part, i in zip(_PARTS, columns, strict=True) if i is not None)}"
    return Reading(
        Stamps(seconds, False, "year_first", resolution_s=1.0 if columns[-1] is not None else 60.0), found, said
    )


def _is(grid: Grid, index: int, part: str) -> bool:
    """Tell a column of whole numbers whose heading is one word for the part of a date."""
    words = words_of(grid.names[index])
    return len(words) == 1 and words[0] in words_for("clock", part) and is_numeric(grid.columns[index])


def _counts(grid: Grid, index: int | None) -> FloatArray:
    return np.zeros(len(grid)) if index is None else to_floats(grid.columns[index])
