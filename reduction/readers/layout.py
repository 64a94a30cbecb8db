"""How a text file is laid out: delimiter, preamble, heading rows, where the data begin."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence

from reduction.errors import UnreadableFile
from reduction.readers.cells import STAMP, is_data, is_reading, looks_like_heading
from reduction.readers.decimal_marks import decimal_mark
from reduction.readers.grid import Layout
from reduction.readers.heading_rows import fit, heading_rows, refuse_short_heading, unique_names
from reduction.readers.refusals import refusal
from reduction.session import Profile

DELIMITERS = "\t;|,"
HEAD_LINES = 300
ENOUGH_LINES = 60
MAX_COLUMNS = 2000


def split_lines(lines: Sequence[str], delimiter: str, quoted: bool = True) -> list[list[str]]:
    """Split lines into fields as a spreadsheet would."""
    rows = []
    for line in lines:
        try:
            rows.append(
                next(csv.reader([line], delimiter=delimiter, quoting=0 if quoted else 3, skipinitialspace=True), [])
            )
        except csv.Error:
            rows.append(line.split(delimiter))
    return rows


def _is_data_row(row: Sequence[str]) -> bool:
    return not looks_like_heading(row) and any(is_reading(c) or STAMP.search(c) for c in row)


def _width(rows: Sequence[Sequence[str]]) -> tuple[int, int]:
    """Return the commonest number of fields of data rows and how many rows have it."""
    counts = Counter(len(r) for r in rows if len(r) > 1 and _is_data_row(r))
    if not counts:
        return 0, 0
    width, count = max(counts.items(), key=lambda item: (item[1], item[0]))
    return width, count


def find_delimiter(lines: Sequence[str]) -> tuple[str, bool]:
    """Return the delimiter that splits most lines into equal rows of data, and whether quotes are to be obeyed.

    A tab wins over a comma that is a decimal mark; so do a semicolon and a pipe.
    """
    quoted = not any(line.count('"') % 2 for line in lines)
    best, best_score = "", 0.0
    for delimiter in DELIMITERS:
        rows = split_lines(lines, delimiter, quoted)
        width, count = _width(rows)
        score = count * (1.0 + 0.01 * width) * (1.0 if delimiter != "," else 0.9)
        if score > best_score:
            best, best_score = delimiter, score
    return best, quoted


def read_layout(text: str, file: str, profile: Profile) -> Layout:
    """Find the layout of a text file from its first lines.

    Raises
    ------
    UnreadableFile
        If no line looks like a row of data, or there are more columns than any logger writes.
    """
    lines = [line.rstrip("\r") for line in text.split("\n", HEAD_LINES)[:HEAD_LINES]]
    for head in (lines[:ENOUGH_LINES], lines):
        delimiter, quoted = _delimiter(head, profile)
        rows = split_lines(head, delimiter, quoted) if delimiter else []
        if _width(rows)[1] >= ENOUGH_LINES // 4 or len(lines) <= ENOUGH_LINES:
            break
    if not delimiter:
        raise _nothing_found(file, lines)
    return layout_of_rows(rows, delimiter, file, profile, head, quoted)


def _delimiter(lines: Sequence[str], profile: Profile) -> tuple[str, bool]:
    if profile.delimiter:
        return profile.delimiter, True
    return find_delimiter([line for line in lines if line.strip()])


def layout_of_rows(
    rows: Sequence[Sequence[str]], delimiter: str, file: str, profile: Profile,
    lines: Sequence[str] | None = None, quoted: bool = True,
) -> Layout:  # fmt: skip
    """Find the layout of rows that are split already.

    Raises
    ------
    UnreadableFile
        As `read_layout`.
    """
    rows = rows[:HEAD_LINES]
    lines = [", ".join(c for c in r if c.strip()) for r in rows] if lines is None else lines
    if not rows:
        raise _nothing_found(file, lines)
    if max(map(len, rows)) > MAX_COLUMNS:
        raise refusal(file, f"{max(map(len, rows)):,} columns in one row", f"at most {MAX_COLUMNS}",
            "Check that the file is a log and the delimiter is right.")  # fmt: skip
    width, _ = _width(rows)
    first = _first_data_row(rows, width)
    if first is None or not width:
        raise _nothing_found(file, lines)
    decimal, because = decimal_mark(rows[first:], delimiter, profile)
    if _is_heading_of_numbers(rows, first, width):
        blank = ("",) * width
        names, units, statistics, top = unique_names(fit(rows[first - 1], width)), blank, blank, first - 1
    else:
        names, units, statistics, top = heading_rows(rows, first, width)
        if top < first:
            refuse_short_heading(rows, first, width, file)
    preamble = tuple(line for line in lines[:top] if line.strip())
    return Layout(delimiter, decimal, names, units, statistics, first, preamble, top < first, quoted, because)


def _first_data_row(rows: Sequence[Sequence[str]], width: int) -> int | None:
    """Return the first row whose clock or reading stands where most rows have theirs."""
    data = [i for i, r in enumerate(rows) if abs(len(r) - width) <= 1 and len(r) > 1 and _is_data_row(r)]
    places = Counter(j for i in data for j, c in enumerate(rows[i]) if STAMP.search(c))
    places = places or Counter(j for i in data for j, c in enumerate(rows[i]) if is_reading(c))
    if not places:
        return None
    place = places.most_common(1)[0][0]
    return next((i for i in data if place < len(rows[i]) and is_data(rows[i][place])), None)


def _is_heading_of_numbers(rows: Sequence[Sequence[str]], first: int, width: int) -> bool:
    """Tell a heading such as `Time,1,2,3`: as wide as the data, and no reading or stamp where the data have theirs."""
    if first == 0 or len(rows[first - 1]) != width or looks_like_heading(rows[first - 1]):
        return False
    return any(c.strip() and not is_data(c) and is_data(d) for c, d in zip(rows[first - 1], rows[first], strict=False))


def _nothing_found(file: str, lines: Sequence[str]) -> UnreadableFile:
    filled = [line for line in lines if line.strip()]
    found = filled[0][:60] if filled else "only blank lines"
    if filled and any(d in filled[-1] for d in DELIMITERS) and len(filled) < HEAD_LINES:
        return refusal(file, f"{found} and no data below it", "rows of data under the headings")
    return refusal(file, found, "rows with a time and a number, split by comma, semicolon, tab or pipe")
