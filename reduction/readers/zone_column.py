"""A column beside the stamps that states their zone or offset, the same in every row."""

from __future__ import annotations

from datetime import timedelta, timezone, tzinfo

import pyarrow.compute as pc

from reduction.errors import UnreadableTime
from reduction.readers.grid import Grid, as_text
from reduction.readers.headings import words_of
from reduction.readers.local_time import find_zone
from reduction.readers.stamps import ZONE_NAMES
from reduction.readers.words import words_for

_MOST_HOURS = 14.0


def zone_of_column(grid: Grid) -> tuple[tzinfo, str] | None:
    """Return the zone that a column called so states, with its name; None where there is none or it changes."""
    for name, column in zip(grid.names, grid.columns, strict=True):
        heading = set(words_of(name))
        is_offset = heading >= {"utc", "offset"} or bool(heading & words_for("clock", "offset"))
        if not is_offset and not heading & words_for("clock", "zone"):
            continue
        stated = pc.unique(as_text(column).drop_null()).to_pylist()
        if len(stated) == 1 and (zone := _zone(stated[0], is_offset=is_offset)):
            return zone, str(zone)
    return None


def _zone(text: str, *, is_offset: bool) -> tzinfo | None:
    """Read a name of a zone; hours as a number only where the heading says that they are an offset."""
    if text in ZONE_NAMES:
        return timezone(timedelta(hours=ZONE_NAMES[text]), text)
    try:
        hours = float(text)
    except ValueError:
        try:
            return find_zone(text)
        except UnreadableTime:
            return None
    return timezone(timedelta(hours=hours)) if is_offset and abs(hours) <= _MOST_HOURS else None
