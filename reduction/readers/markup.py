"""A table of a web page, which some loggers hand out under the name of a workbook, to rows of cells."""

from __future__ import annotations

import re
from html.parser import HTMLParser

_TABLE = re.compile(rb"^\s*(?:<!doctype html|<html|<table|<meta|<head|<style|<div)", re.IGNORECASE)
_MOST_CELLS = 20_000_000


def is_page(text: bytes) -> bool:
    """Tell a web page with a table by its first tag.

    Examples
    --------
    >>> is_page(b"<html><table>"), is_page(b"time,room_C"), is_page(b"<log/>")
    (True, False, False)
    """
    return bool(_TABLE.match(text[:512])) and b"<t" in text.lower()


def table_rows(text: bytes) -> list[list[str]]:
    """Return the cells of the page's longest table.

    Examples
    --------
    >>> table_rows(b"<table><tr><th>time<th>room_C</tr><tr><td>18:05</td><td>26.6</td></tr></table>")
    [['time', 'room_C'], ['18:05', '26.6']]
    """
    reader = _Tables()
    reader.feed(text.decode(errors="replace"))
    reader.close()
    return max(([row for row in table if row] for table in reader.tables), key=len, default=[])


class _Tables(HTMLParser):
    """Collects rows and cells; whatever is not in a cell is left out."""

    def __init__(self) -> None:
        super().__init__()
        self.tables: list[list[list[str]]] = [[]]
        self.cells = 0
        self._is_open = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a table, a row or a cell."""
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in {"td", "th"} and self.tables[-1] and self.cells < _MOST_CELLS:
            self.cells += 1
            self.tables[-1][-1].append("")
        self._is_open = tag in {"td", "th"} or (self._is_open and tag not in {"table", "tr"})

    def handle_endtag(self, tag: str) -> None:
        """End a cell with its row or its table."""
        self._is_open = self._is_open and tag not in {"td", "th", "tr", "table"}

    def handle_data(self, data: str) -> None:
        """Add text to the open cell."""
        if self._is_open and self.tables[-1] and self.tables[-1][-1]:
            self.tables[-1][-1][-1] += data.strip("\r\n\t")
