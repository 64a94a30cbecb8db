"""Workbooks (xlsx, xlsm, xls, ods) to a grid, without macros and without trust in their size."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime, time, timedelta

import python_calamine

from reduction.errors import Place, UnreadableFile
from reduction.readers.delimited import read_rows
from reduction.readers.grid import Grid
from reduction.readers.source import Source, refuse_bomb
from reduction.readers.table import Guess
from reduction.session import Profile

MAX_CELLS = 20_000_000
Cell = int | float | str | bool | time | date | datetime | timedelta | None


def read_workbook(source: Source, profile: Profile) -> Grid:
    """Read the sheet named by the profile, or the first that holds a table of readings.

    Raises
    ------
    UnreadableFile
        If no sheet does, or the workbook is damaged, locked, or unpacks to more than any log holds.
    """
    if source.data[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            refuse_bomb(source.name, archive)
    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(source.data))
        sheets = [profile.sheet] if profile.sheet else list(book.sheet_names)
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise _unreadable(source.name, f"a workbook that cannot be opened ({error})") from error
    if profile.sheet and profile.sheet not in book.sheet_names:
        raise UnreadableFile(place=Place(source.name), found=", ".join(book.sheet_names)[:120],
            expected=f"a sheet “{profile.sheet}”", remedy="Name one of its sheets.")  # fmt: skip
    failed: UnreadableFile | None = None
    for sheet in sheets[:30]:
        try:
            rows = _rows(book, sheet, source.name)
            grid = read_rows([[_text(c) for c in row] for row in rows], rows, source.name, profile)
        except UnreadableFile as error:
            failed = failed or error
            continue
        others = [s for s in book.sheet_names if s != sheet]
        because = f"the first sheet with readings; not read: {', '.join(others)[:120]}" if others else "the only sheet"
        guess = Guess("sheet", sheet, because, 1.0 if profile.sheet or not others else 0.8)
        return Grid(grid.names, grid.columns, grid.units, grid.statistics, grid.preamble, grid.first_row, None,
            grid.decimal, grid.has_heading, sheet, grid.faults, (*grid.guesses, guess), grid.questions)  # fmt: skip
    raise failed or _unreadable(source.name, "a workbook without sheets")


def _rows(book: python_calamine.CalamineWorkbook, sheet: str, file: str) -> list[list[Cell]]:
    try:
        found = book.get_sheet_by_name(sheet)
        if found.total_height * found.total_width > MAX_CELLS:
            raise _unreadable(file, f"{found.total_height:,} rows of {found.total_width:,} columns in one sheet")
        return found.to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        if isinstance(error, UnreadableFile):
            raise
        raise _unreadable(file, f"a damaged sheet “{sheet}”") from error


def _unreadable(file: str, found: str) -> UnreadableFile:
    return UnreadableFile(place=Place(file), found=found[:160], expected="a workbook with a table of readings",
        remedy="Save the sheet with the readings as CSV.")  # fmt: skip


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    return str(cell)
