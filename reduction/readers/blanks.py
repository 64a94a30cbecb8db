"""Text whose columns are parted by blanks, one or many: each run of them becomes one tab."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reduction.readers.cells import is_data
from reduction.readers.heading_rows import beside_numbers
from reduction.readers.layout import ENOUGH_LINES, HEAD_LINES, find_delimiter

_LEAST_COLUMNS = 3  # a date, a time and a reading, or a stamp, a name and a reading
_STEADY = 0.9
_HEAD = 1 << 13
_BROKEN_CELL = re.compile(rb'(?:(?<=[,;\t|])|(?<=\n)|^)"[^"\n,;\t|]{1,80}(?:\n[^"\n,;\t|]{1,80}){1,3}"(?=[,;\t|\r\n])')
_GAPS = (re.compile(rb"[ \t]{2,}"), re.compile(rb"[ \t]+"))


def parted_by_tabs(text: bytes) -> bytes | None:
    """Return the text with its blanks as tabs; None where commas, tabs or the like part it, or nothing does.

    Two blanks or more part columns where every row has them: then single ones stand inside names and stamps.

    Examples
    --------
    >>> parted_by_tabs(b"date time room_C\\n2026-07-14 18:05:00 26.6\\n2026-07-14 18:05:10 26.7\\n")
    b'date\\ttime\\troom_C\\n2026-07-14\\t18:05:00\\t26.6\\n2026-07-14\\t18:05:10\\t26.7\\n'
    """
    lines = text[: 1 << 16].split(b"\n", HEAD_LINES)[:HEAD_LINES]
    head = [line.strip() for line in lines if line.strip()][:ENOUGH_LINES]
    if not head or find_delimiter([line.decode(errors="replace") for line in head])[0]:
        return None
    gaps = _GAPS[1:] if b'"' in b"".join(head) else _GAPS
    gap = next((gap for gap in gaps if _is_table([_cells(gap, line) for line in head])), None)
    return None if gap is None else _tabbed(gap, re.sub(rb"(?m)^[ \t]+|[ \t]+(?=\r?$)", b"", text))


def _tabbed(gap: re.Pattern[bytes], text: bytes) -> bytes:
    """Put a tab for every gap; one within quotes stays as it is."""
    if b'"' not in text:
        return gap.sub(b"\t", text)
    return re.sub(rb'("[^"\n]*")|' + gap.pattern, lambda found: found[1] or b"\t", text)


def _cells(gap: re.Pattern[bytes], line: bytes) -> list[str]:
    return [cell.strip('"') for cell in _tabbed(gap, line).decode(errors="replace").split("\t")]


def _is_table(rows: Sequence[Sequence[str]]) -> bool:
    """Tell rows of one width that hold readings, but for a few such as headings, under a heading as wide as they."""
    width = len(rows[-1])
    like = [i for i, row in enumerate(rows) if len(row) == width and sum(is_data(cell) for cell in row) > 1]
    if width < _LEAST_COLUMNS or not like or len(like) < _STEADY * (len(rows) - 1):
        return False
    return like[0] == 0 or len(beside_numbers(rows[like[0] - 1], rows[like[0]], width)) == width


def with_whole_headings(text: bytes) -> bytes:
    """Put quoted headings that a spreadsheet broke over several lines on one line again.

    Examples
    --------
    >>> with_whole_headings(b'"Time","Room\\n[C]"\\n')
    b'"Time","Room [C]"\\n'
    """
    head = text[:_HEAD]
    if b'"' not in head or not _BROKEN_CELL.search(head):
        return text
    return _BROKEN_CELL.sub(lambda found: re.sub(rb"\s*\r?\n\s*", b" ", found[0]), head) + text[_HEAD:]
