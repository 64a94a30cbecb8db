"""How large a workbook's sheets would be once read, found before they are: a few bytes can claim 10^10 cells."""

from __future__ import annotations

import io
import re
import zipfile
from xml.parsers import expat

from reduction.readers.refusals import refusal
from reduction.readers.source import refuse_bomb

MAX_CELLS = 20_000_000
_REFERENCE = re.compile(rb'\br="([A-Z]{0,3})(\d{1,9})"')
_TABLE = "urn:oasis:names:tc:opendocument:xmlns:table:1.0 "


def refuse_large_sheets(name: str, data: bytes) -> None:
    """Refuse a zipped workbook whose sheets span more cells than any log has.

    Raises
    ------
    UnreadableFile
        With the extent found; also for binary sheets, whose extent cannot be seen from outside.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        refuse_bomb(name, archive)
        for member in archive.namelist():
            if member.startswith("xl/worksheets/") and member.endswith(".bin"):
                raise refusal(name, "a binary workbook", "xlsx, ods or CSV", "Save it as xlsx or CSV.")
            if member.startswith("xl/worksheets/") and member.endswith(".xml"):
                _refuse(name, *_extent(archive.read(member)))
            elif member == "content.xml":
                _refuse(name, *_open_document_extent(archive.read(member)))


def _refuse(name: str, rows: int, columns: int) -> None:
    if rows * columns > MAX_CELLS:
        raise refusal(name, f"{rows:,} rows of {columns:,} columns in one sheet", f"at most {MAX_CELLS:,} cells",
            "Save the rows with readings as CSV.")  # fmt: skip


def _extent(sheet: bytes) -> tuple[int, int]:
    """Return last row and column of the references in a sheet.

    Examples
    --------
    >>> _extent(b'<row r="7"><c r="A7"/><c r="AB7"/></row>')
    (7, 28)
    """
    references = _REFERENCE.findall(sheet)
    rows = max((int(row) for row in {row for _, row in references}), default=1)
    columns = {letters for letters, _ in references}
    return rows, max((_column_number(letters) for letters in columns), default=1)


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return max(number, 1)


def _open_document_extent(content: bytes) -> tuple[int, int]:
    """Return rows and columns of the largest table once its repeats are written out; empty ends do not count."""
    counter = _Repeats()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = counter.start
    parser.EndElementHandler = counter.end
    try:
        parser.Parse(content, True)
    except expat.ExpatError:
        return 1, 1  # damaged: the reader proper says so
    return counter.rows, counter.columns


class _Repeats:
    """Counts the rows and columns of OpenDocument tables while they are parsed."""

    def __init__(self) -> None:
        self.rows = self.columns = 1
        self._row = self._cell = self._filled_cell = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take a table, row or cell into account."""
        if tag == _TABLE + "table":
            self._row = 0
        elif tag == _TABLE + "table-row":
            self._row += _times(attributes, "number-rows-repeated")
            self._cell = self._filled_cell = 0
        elif tag in {_TABLE + "table-cell", _TABLE + "covered-table-cell"}:
            self._cell += _times(attributes, "number-columns-repeated")
            if any(key.endswith(" value-type") for key in attributes):
                self._filled_cell = self._cell

    def end(self, tag: str) -> None:
        """Close a row that holds something."""
        if tag == _TABLE + "table-row" and self._filled_cell:
            self.rows = max(self.rows, self._row)
            self.columns = max(self.columns, self._filled_cell)


def _times(attributes: dict[str, str], name: str) -> int:
    text = attributes.get(_TABLE + name, "1")
    return int(text) if text.isdigit() and len(text) < 12 else 1
