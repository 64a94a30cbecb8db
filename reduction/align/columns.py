"""Which column of which file a channel names, and columns that go on in the next file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from reduction.errors import InvalidSession, Place
from reduction.readers.table import Column, Log
from reduction.session import Channel, ClockCorrection, Finding, Severity

Chosen = tuple[Log, Column, Channel]
MOST_COMMON = 0.1  # of the shorter of two parts: more than that are two sensors under one name; common practice


def column_of(by_path: Mapping[str, Log], channel: Channel) -> tuple[Log, Column]:
    """Find the column that a channel names, by its own name or, where that came from the file's name, its heading.

    Raises
    ------
    InvalidSession
        If no such file was read, it has no such column, or several files of an archive have it.
    """
    columns = [(log, column) for log in _logs(by_path, channel) for column in log.columns]
    found = [each for each in columns if each[1].name == channel.column]
    found = found or [each for each in columns if each[1].in_file and each[1].in_file == channel.column]
    if len(found) == 1:
        return found[0]
    names = ", ".join(dict.fromkeys(column.name for _, column in columns)) or "none"
    files = ", ".join(log.path for log, _ in found)
    raise InvalidSession(
        place=Place(channel.file),
        found=f"{channel.column} in {files}" if found else channel.column,
        expected="a column of one of these files only" if found else "a column of this file",
        remedy="Name the file inside the archive or workbook." if found else f"Its columns are: {names}.",
    )


def _logs(by_path: Mapping[str, Log], channel: Channel) -> list[Log]:
    """The log that a channel names; for an archive or a workbook, all that it holds."""
    if channel.file in by_path:
        return [by_path[channel.file]]
    inside = [log for path, log in by_path.items() if path.startswith(f"{channel.file}/")]
    if not inside:
        raise InvalidSession(
            place=Place("channels"), found=channel.file, expected="a path listed in files",
            remedy=f"Files read: {', '.join(by_path) or 'none'}.",
        )  # fmt: skip
    return inside


def empty(by_path: Mapping[str, Log], channel: Channel) -> Finding | None:
    """Say that a channel's column is there and holds no reading at all; None for any other."""
    log = by_path.get(channel.file)
    if log is None or any(column.name == channel.column for column in log.columns):
        return None
    if not any(guess.what == "left_out" and guess.value == channel.column for guess in log.guesses):
        return None
    return Finding(
        code="no_reading",
        severity=Severity.SEVERE,
        sentence=f"{channel.column} of {channel.file} was to be {channel.role.value} and holds no reading.",
        subject=f"{channel.file}:{channel.column}",
        remedy="Check the sensor and the export; what else is logged stands in for it as far as it can.",
    )


def joined(
    chosen: Sequence[Chosen], clocks: Mapping[str, ClockCorrection]
) -> tuple[list[list[Chosen]], tuple[Finding, ...]]:
    """Group the columns that are one channel written to one file after the other; the rest stand alone.

    Parameters
    ----------
    chosen
        Columns with the channels they are.
    clocks
        Corrections by path: parts with different ones are not joined.

    Returns
    -------
    tuple
        Groups in the order of their first parts, each in the order of time; a finding where there is any.
    """
    groups: dict[tuple[object, ...], list[list[Chosen]]] = {}
    for log, column, channel in sorted(chosen, key=lambda each: _start(each[1])):
        as_first = channel.model_copy(update={"file": ""})
        key = (column.name, column.quantity_unit, column.kind, as_first, clocks.get(log.path), log.profile.stamp)
        same = groups.setdefault(_hashable(key), [])
        before = next((group for group in same if _goes_on(group[-1], (log, column, channel))), None)
        if before is None:
            same.append([(log, column, channel)])
        else:
            before.append((log, column, channel))
    place = {id(column): number for number, (_, column, _) in enumerate(chosen)}
    found = sorted((g for same in groups.values() for g in same), key=lambda g: min(place[id(c)] for _, c, _ in g))
    return found, _said([group for group in found if len(group) > 1])


def one_column(group: Sequence[Chosen]) -> Column:
    """Put the parts of a channel behind each other; where two have the same instant the earlier file counts."""
    first = group[0][1]
    if len(group) == 1:
        return first
    time_s = np.concatenate([column.time_s for _, column, _ in group])
    values = np.concatenate([column.values for _, column, _ in group])
    time_s, at = np.unique(time_s, return_index=True)
    return replace(first, time_s=time_s, values=values[at])


def _hashable(key: tuple[object, ...]) -> tuple[object, ...]:
    return tuple(str(part) for part in key)


def _start(column: Column) -> float:
    return float(column.time_s[0]) if len(column.time_s) else np.inf


def _goes_on(before: Chosen, after: Chosen) -> bool:
    """Whether the second, in another file, begins about where the first ends, or repeats its last rows."""
    (one, first, _), (other, second, _) = before, after
    if one.path == other.path or not len(first.time_s) or not len(second.time_s):
        return False
    common = float(first.time_s[-1] - second.time_s[0])
    shorter = min(float(np.ptp(first.time_s)), float(np.ptp(second.time_s)))
    return common <= MOST_COMMON * shorter or _repeats(before, after)


def _repeats(before: Chosen, after: Chosen) -> bool:
    """Whether two downloads hold the same rows over the time they share; a steady column asks those beside it."""
    others = {column.name: column for column in after[0].columns}
    pairs = [(column, others[column.name]) for column in before[0].columns if column.name in others]
    for one, other in ((before[1], after[1]), *pairs):
        varies = _alike(one, other)
        if varies is None:
            return False
        if varies:
            return True
    return False


def _alike(first: Column, second: Column) -> bool | None:
    """Whether the rows of the shared time vary, where both columns have the same; None where they do not."""
    begin, end = max(first.time_s[0], second.time_s[0]), min(first.time_s[-1], second.time_s[-1])
    one, other = ((c.time_s >= begin) & (c.time_s <= end) for c in (first, second))
    if not np.array_equal(first.time_s[one], second.time_s[other]):
        return None
    if not np.array_equal(first.values[one], second.values[other], equal_nan=True):
        return None
    return len(np.unique(first.values[one])) > 1


def _said(groups: Sequence[Sequence[Chosen]]) -> tuple[Finding, ...]:
    if not groups:
        return ()
    files = list(dict.fromkeys(log.path for group in groups for log, _, _ in group))
    return (
        Finding(
            code="parts_joined",
            severity=Severity.NOTE,
            sentence=f"{len(groups)} channels go on from one file to the next ({', '.join(files)}); each was put "
            "together as one.",
            subject=files[0],
            remedy="Name the columns differently if they are different sensors.",
        ),
    )
