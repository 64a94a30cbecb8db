"""Workbooks (xlsx, xlsm, xls, ods) to a grid, without macros and without trust in their size."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import python_calamine

from reduction.errors import UnreadableFile
from reduction.readers.delimited import read_rows
from reduction.readers.grid import Grid
from reduction.readers.refusals import refusal
from reduction.readers.source import Source, refuse_bomb
from reduction.readers.table import Guess
from reduction.session import Profile

MAX_CELLS = 20_000_000
MAX_SHEETS = 30
Cell = int | float | str | bool | time | date | datetime | timedelta
_REMEDY = "Save the sheet with the readings as CSV."


def read_workbook(source: Source, profile: Profile) -> Grid:
    """Read the sheet named by the profile, or the first that holds a table of readings.

    Raises
    ------
    UnreadableFile
        If no sheet does, or the workbook is damaged, locked, or unpacks to more than any log holds.
    """
    book = _open(source)
    names = list(book.sheet_names)
    if profile.sheet and profile.sheet not in names:
        raise refusal(
            source.name, ", ".join(names) or "no sheets", f"a sheet “{profile.sheet}”", "Name one of its sheets."
        )
    failed: UnreadableFile | None = None
    for sheet in [profile.sheet] if profile.sheet else names[:MAX_SHEETS]:
        try:
            rows = _rows(book, sheet, source.name)
            grid = read_rows([[_text(c) for c in row] for row in rows], rows, source.name, profile)
        except UnreadableFile as error:
            failed = failed or error
            continue
        others = ", ".join(name for name in names if name != sheet)
        because = f"the first sheet with readings; not read: {others[:120]}" if others else "the only sheet"
        guess = Guess("sheet", sheet, because, 1.0 if profile.sheet or not others else 0.8)
        return replace(grid, sheet=sheet, guesses=(*grid.guesses, guess))
    raise failed or refusal(source.name, "a workbook without sheets", remedy=_REMEDY)


def _open(source: Source) -> python_calamine.CalamineWorkbook:
    if source.data[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            refuse_bomb(source.name, archive)
    try:
        return python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(source.data))
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise refusal(source.name, f"a workbook that cannot be opened ({error})", remedy=_REMEDY) from error


def _rows(book: python_calamine.CalamineWorkbook, sheet: str, file: str) -> Sequence[Sequence[Cell]]:
    try:
        found = book.get_sheet_by_name(sheet)
        height, width = found.total_height, found.total_width
        if height * width <= MAX_CELLS:
            return found.to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise refusal(file, f"a damaged sheet “{sheet}”", remedy=_REMEDY) from error
    raise refusal(file, f"{height:,} rows of {width:,} columns in one sheet", f"at most {MAX_CELLS:,} cells", _REMEDY)


def _text(cell: Cell) -> str:
    return cell.isoformat(sep=" ") if isinstance(cell, datetime) else str(cell)
