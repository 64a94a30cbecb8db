"""Workbooks (xlsx, xlsm, xls, ods) to grids, without macros and without trust in their size."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

import python_calamine

from reduction.errors import ReductionError
from reduction.readers.delimited import read_rows
from reduction.readers.grid import Grid
from reduction.readers.refusals import refusal
from reduction.readers.sheet_size import MAX_CELLS, refuse_large_sheets
from reduction.readers.source import BROKEN_ARCHIVE, Source
from reduction.readers.table import Guess
from reduction.session import Profile

MAX_SHEETS = 30
Cell = int | float | str | bool | time | date | datetime | timedelta
_REMEDY = "Save the sheet with the readings as CSV."


def read_workbook(source: Source, profile: Profile) -> list[Grid]:
    """Read the sheet named by the profile, or every sheet that holds a table.

    Raises
    ------
    UnreadableFile
        If no sheet does, or the workbook is damaged, locked, or claims more cells than any log holds.
    """
    book = _open(source)
    names = list(book.sheet_names)[:MAX_SHEETS]
    if profile.sheet and profile.sheet not in names:
        raise refusal(source.name, ", ".join(names), f"a sheet “{profile.sheet}”", "Name one of its sheets.")
    grids: list[Grid] = []
    failed: ReductionError | None = None
    for sheet in [profile.sheet] if profile.sheet else names:
        try:
            rows = _rows(book, sheet, source.name)
            grid = read_rows([[_text(c) for c in row] for row in rows], rows, source.name, profile)
        except ReductionError as error:
            failed = failed or error
            continue
        guess = Guess("sheet", sheet, f"one of {len(names)} sheets" if len(names) > 1 else "the only sheet", 1.0)
        grids.append(replace(grid, sheet=sheet, guesses=(*grid.guesses, guess)))
    if not grids:
        raise failed or refusal(source.name, "a workbook without sheets", remedy=_REMEDY)
    return grids


def _open(source: Source) -> python_calamine.CalamineWorkbook:
    try:
        if source.data[:2] == b"PK":
            refuse_large_sheets(source.name, source.data)
        return python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(source.data))
    except ReductionError:
        raise
    except (python_calamine.CalamineError, *BROKEN_ARCHIVE) as error:
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
