"""Which column of which file a channel names."""

from __future__ import annotations

from collections.abc import Mapping

from reduction.errors import InvalidSession, Place
from reduction.readers.table import Column, Log
from reduction.session import Channel


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
