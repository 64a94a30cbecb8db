"""Read any logger's file: `read_log(path)` gives a `Log`, with every guess and its reason."""

from __future__ import annotations

from pathlib import Path

from reduction.readers.reading import read_sources
from reduction.readers.refusals import refusal
from reduction.readers.roles import propose_roles, with_roles
from reduction.readers.source import open_sources
from reduction.readers.story import describe, layout_fingerprint
from reduction.readers.table import Log
from reduction.readers.vocabulary import to_si
from reduction.session import Profile

__all__ = ["describe", "layout_fingerprint", "propose_roles", "read_log", "read_logs", "to_si", "with_roles"]


def read_log(path: Path, *, name: str | None = None, profile: Profile | None = None, time_zone: str = "UTC") -> Log:
    """Read one file of readings.

    Parameters
    ----------
    path
        A delimited text, workbook, web page, Parquet or JSON file, or one of these in zip, tar, gz, bz2 or xz.
    name
        What to call it instead of the path's own name; the name may say what a nameless column is.
    profile
        What is known about the file; what it leaves out is detected and said.
    time_zone
        Of the session, for stamps that carry none.

    Raises
    ------
    UnreadableFile
        If it is no log, or an archive of several.
    UnreadableTime
        If its stamps can be read in more than one way, or in none.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp()) / "bench.csv"
    >>> _ = file.write_text("time_utc,room_C\\n2026-07-14T18:05:00Z,26.62\\n2026-07-14T18:05:10Z,26.63\\n")
    >>> column = read_log(file).columns[0]
    >>> column.name, column.quantity_unit, column.role.value, column.values.tolist()
    ('room_C', '°C', 'room_temp', [26.62, 26.63])
    """
    logs = read_logs(path, name=name, profile=profile, time_zone=time_zone)
    if len(logs) > 1:
        raise refusal(name or path.name, f"an archive of {len(logs)} logs", "one log", "Read its members one by one.")
    return logs[0]


def read_logs(
    path: Path, *, name: str | None = None, profile: Profile | None = None, time_zone: str = "UTC"
) -> tuple[Log, ...]:
    """Read a file that may hold several logs: members of an archive (`archive.zip/member.csv`), sheets of a workbook.

    Roles are proposed over all of them together. What is no log in an archive or workbook is left out, which the
    first log's faults say.

    Raises
    ------
    UnreadableFile, UnreadableTime, UnreadableValue
        As `read_log`, if none can be read or one leaves a question open that only a person can settle.
    """
    logs = read_sources(open_sources(path, name), profile or Profile(), time_zone)
    return with_roles(logs)
