"""From opened sources to logs: which reader takes which file, and what of an archive is no log."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

from reduction.errors import ReductionError
from reduction.readers.assemble import assemble
from reduction.readers.delimited import read_delimited, read_rows
from reduction.readers.encoding import decode
from reduction.readers.grid import Grid
from reduction.readers.markup import is_page, table_rows
from reduction.readers.refusals import refusal
from reduction.readers.source import Source
from reduction.readers.table import Fault, Log
from reduction.readers.tabular import read_json_lines, read_parquet
from reduction.readers.workbook import read_workbook
from reduction.session import Profile

T = TypeVar("T")
_BUGS = (ValueError, TypeError, KeyError, IndexError, OverflowError, ArithmeticError, OSError, MemoryError)


def read_sources(sources: Sequence[Source], profile: Profile, time_zone: str) -> tuple[Log, ...]:
    """Read every source; one that is no log is left out and said, unless there is no other.

    Raises
    ------
    ReductionError
        If none is a log, or one leaves a question open that only a person can settle.
    """
    return tuple(_those_that_can(sources, lambda source: _read(source, profile, time_zone)))


def _those_that_can(things: Iterable[T], read: Callable[[T], Sequence[Log]]) -> list[Log]:
    logs: list[Log] = []
    errors: list[ReductionError] = []
    for thing in things:
        try:
            logs += read(thing)
        except ReductionError as error:
            if hasattr(error, "question"):
                raise
            errors.append(error)
    if not logs:
        raise errors[0]
    left_out = tuple(Fault("left_out", 1, None, None, f"Left out, for it is no log: {error}") for error in errors)
    return [replace(logs[0], faults=(*logs[0].faults, *left_out)), *logs[1:]]


def _read(source: Source, profile: Profile, time_zone: str) -> list[Log]:
    try:
        grids = _grids(source, profile)
        several = len(grids) > 1
        return _those_that_can(grids, lambda grid: [assemble(grid, _named(source, grid, several), profile, time_zone)])
    except ReductionError:
        raise
    except _BUGS as error:
        raise refusal(source.name, f"something no reader here understands ({type(error).__name__})") from error


def _named(source: Source, grid: Grid, several: bool) -> Source:
    return replace(source, name=f"{source.name}/{grid.sheet}") if several else source


def _grids(source: Source, profile: Profile) -> list[Grid]:
    if source.kind == "parquet":
        return [read_parquet(source)]
    if source.kind == "workbook":
        return read_workbook(source, profile)
    text, encoding, faults = decode(source, profile.encoding)
    if source.kind == "json" or text[:4096].lstrip()[:1] in {b"{", b"["}:
        grid = read_json_lines(text, source.name)
    elif is_page(text):
        rows = table_rows(text)
        grid = read_rows(rows, rows, source.name, profile)
    else:
        grid = read_delimited(text, source.name, profile)
    return [replace(grid, faults=(*faults, *grid.faults), guesses=(encoding, *grid.guesses))]
