"""Read any logger's file: `read_log(path)` gives a `Log`, with every guess and its reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from reduction.errors import ReductionError
from reduction.readers.assemble import assemble
from reduction.readers.delimited import read_delimited
from reduction.readers.encoding import decode
from reduction.readers.grid import Grid
from reduction.readers.refusals import refusal
from reduction.readers.roles import propose_roles, with_roles
from reduction.readers.source import Source, open_sources
from reduction.readers.story import describe, layout_fingerprint
from reduction.readers.table import Guess, Log
from reduction.readers.tabular import read_json_lines, read_parquet
from reduction.readers.vocabulary import to_si
from reduction.readers.workbook import read_workbook
from reduction.session import Profile

__all__ = ["describe", "layout_fingerprint", "propose_roles", "read_log", "read_logs", "to_si", "with_roles"]


def read_log(path: Path, *, name: str | None = None, profile: Profile | None = None, time_zone: str = "UTC") -> Log:
    """Read one file of readings.

    Parameters
    ----------
    path
        A delimited text, workbook, Parquet or JSON-lines file, or one of these in gz or zip.
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
    """Read a file that may hold several logs: each member of an archive is one, named `archive.zip/member.csv`.

    Roles are proposed over all of them together.

    Raises
    ------
    UnreadableFile, UnreadableTime
        As `read_log`, for the first member that cannot be read.
    """
    profile = profile or Profile()
    logs = tuple(_read(source, profile, time_zone) for source in open_sources(path, name))
    return with_roles(logs)


def _read(source: Source, profile: Profile, time_zone: str) -> Log:
    try:
        grid, guesses = _grid(source, profile)
        log = assemble(grid, source, profile, time_zone)
    except ReductionError:
        raise
    except (ValueError, TypeError, KeyError, IndexError, OverflowError, ArithmeticError, OSError, MemoryError) as error:
        raise refusal(source.name, f"something no reader here understands ({type(error).__name__})") from error
    return replace(log, guesses=(*guesses, *log.guesses))


def _grid(source: Source, profile: Profile) -> tuple[Grid, Sequence[Guess]]:
    if source.kind == "parquet":
        return read_parquet(source), ()
    if source.kind == "workbook":
        return read_workbook(source, profile), ()
    text, encoding, faults = decode(source, profile.encoding)
    if source.kind == "json" or text[:4096].lstrip()[:1] in {b"{", b"["}:
        grid = read_json_lines(text, source.name)
    else:
        grid = read_delimited(text, source.name, profile)
    return replace(grid, faults=(*faults, *grid.faults)), (encoding,)
