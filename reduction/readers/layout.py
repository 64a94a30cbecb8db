"""How a text file is laid out: delimiter, preamble, heading rows, where the data begin."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate

from reduction.errors import UnreadableFile
from reduction.readers.decimal_marks import decimal_mark
from reduction.readers.grid import MISSING_WORDS, Layout
from reduction.readers.refusals import refusal
from reduction.readers.vocabulary import find_unit
from reduction.readers.words import meanings, words_for
from reduction.session import Profile

DELIMITERS = "\t;|,"
HEAD_LINES = 300
ENOUGH_LINES = 60
MAX_COLUMNS = 2000
_MOST_UNITS = 0.5  # share of a row from which it is one of units
_GROUPS = 2
_NUMBER = re.compile(r"^[+\-−]?[\d  ]*[\d][\d.,'’]*(?:[eE][+\-]?\d+)?\s*$")
_STAMP = re.compile(r"\d[./:\-]\d|^\d{9,}|\d\s*[AaPp]\.?[Mm]|\d{1,2}[ \-][A-Za-z]{3}")
_MONTH_FIRST = re.compile(
    r"^(?:[A-Za-z]{2,9}\.?,?\s+)?(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?\s+\d{1,2}[, ]",
    re.IGNORECASE,
)
_NUMBER_WITH_UNIT = re.compile(r"^[+\-−]?\d[\d.,]*\s*([^\d\s].{0,8})$")
_WIDE_BLANK = str.maketrans({"\u202f": " ", "\u00a0": " ", "\u2009": " "})


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


def is_reading(cell: str) -> bool:
    """Tell whether a cell holds a number, perhaps with its unit."""
    text = cell.strip().translate(_WIDE_BLANK)
    if _NUMBER.match(text):
        return True
    found = _NUMBER_WITH_UNIT.match(text)
    return bool(found and find_unit(found[1]))


def is_data(cell: str) -> bool:
    """Tell whether a cell could stand in a data row: a number, a stamp, or a word for missing."""
    return is_reading(cell) or bool(_STAMP.search(cell)) or (cell.strip() in MISSING_WORDS and bool(cell.strip()))


def _is_data_row(row: Sequence[str]) -> bool:
    return not _looks_like_heading(row) and any(is_reading(c) or _STAMP.search(c) for c in row)


def _looks_like_heading(row: Sequence[str]) -> bool:
    """Tell a heading with digits (`Temp 1`, `Date Time, GMT-04:00`) from data: no cell begins like a number."""
    return not any(re.match(r"^\s*[+\-−]?[.,]?\d", c.translate(_WIDE_BLANK)) for c in row) and not any(
        _MONTH_FIRST.match(c.strip()) for c in row
    )


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
        names, units, statistics, top = unique_names(_fit(rows[first - 1], width)), blank, blank, first - 1
    else:
        names, units, statistics, top = _heading_rows(rows, first, width)
    preamble = tuple(line for line in lines[:top] if line.strip())
    return Layout(delimiter, decimal, names, units, statistics, first, preamble, top < first, quoted, because)


def _first_data_row(rows: Sequence[Sequence[str]], width: int) -> int | None:
    """Return the first row whose clock or reading stands where most rows have theirs."""
    data = [i for i, r in enumerate(rows) if abs(len(r) - width) <= 1 and len(r) > 1 and _is_data_row(r)]
    places = Counter(j for i in data for j, c in enumerate(rows[i]) if _STAMP.search(c))
    places = places or Counter(j for i in data for j, c in enumerate(rows[i]) if is_reading(c))
    if not places:
        return None
    place = places.most_common(1)[0][0]
    return next((i for i in data if place < len(rows[i]) and is_data(rows[i][place])), None)


def _is_heading_of_numbers(rows: Sequence[Sequence[str]], first: int, width: int) -> bool:
    """Tell a heading such as `Time,1,2,3`: as wide as the data, and no reading or stamp where the data have theirs."""
    if first == 0 or len(rows[first - 1]) != width or _looks_like_heading(rows[first - 1]):
        return False
    return any(c.strip() and not is_data(c) and is_data(d) for c, d in zip(rows[first - 1], rows[first], strict=False))


def _nothing_found(file: str, lines: Sequence[str]) -> UnreadableFile:
    filled = [line for line in lines if line.strip()]
    found = filled[0][:60] if filled else "only blank lines"
    if filled and any(d in filled[-1] for d in DELIMITERS) and len(filled) < HEAD_LINES:
        return refusal(file, f"{found} and no data below it", "rows of data under the headings")
    return refusal(file, found, "rows with a time and a number, split by comma, semicolon, tab or pipe")


def _heading_rows(
    rows: Sequence[Sequence[str]], first: int, width: int
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], int]:
    """Return names, units and statistics from the rows above the data, and the line where they begin."""
    block, top = _rows_above(rows, first, width)
    blank = ("",) * width
    if not block:
        return tuple(f"column {i + 1}" for i in range(width)), blank, blank, first
    fit = [_fit(beside_numbers(row, rows[first], width), width) for row in block]
    units = next((r for r in fit[1:] if _share(r, lambda c: find_unit(c) is not None) >= _MOST_UNITS), blank)
    statistics = next(
        (r for r in fit[1:] if _share(r, lambda c: c.strip().casefold() in meanings("statistic")) >= 0.5), blank
    )
    naming = [r for r in fit if r is not units and r is not statistics]
    if not naming:
        naming, units = [units], blank
    if len(naming) > 1 and (not _distinct(naming[-1]) or _counts_places(naming[-1])):
        return unique_names(_joined(naming)), units, statistics, top
    top += next(i for i, r in enumerate(fit) if r is naming[-1])
    names = naming[-1]
    return unique_names(names), units, statistics, top


def _rows_above(rows: Sequence[Sequence[str]], first: int, width: int) -> tuple[list[list[str]], int]:
    """Return the rows above the data that may be headings, and the line where they begin."""
    block: list[list[str]] = []
    top = first
    while top > 0 and len(block) < 4:
        row = list(rows[top - 1])
        if not any(c.strip() for c in row):
            if block or top != first:
                break
            top -= 1
            continue
        if not _may_head(row, width) and not (_are_units(block, width) and _heads_units(row, width)):
            break
        block.insert(0, row)
        top -= 1
    return block, top


def _are_units(block: Sequence[Sequence[str]], width: int) -> bool:
    return len(block) == 1 and _share(_fit(block[0], width), lambda c: find_unit(c) is not None) >= _MOST_UNITS


def _heads_units(row: Sequence[str], width: int) -> bool:
    """Tell a heading with bare numbers, such as `stamp,1,2,3`, by the units row below it."""
    fits = len(row) > 1 and width - 1 <= len(row) <= width + 1
    return fits and not any(_STAMP.search(c) for c in row) and not is_data(row[0])


def _counts_places(row: Sequence[str]) -> bool:
    """Tell a row that only counts what the row above it names."""
    return any(c.strip().isdigit() for c in row)


def _may_head(row: Sequence[str], width: int) -> bool:
    return len(row) > 1 and width - 1 <= len(row) <= width + 1 and _looks_like_heading(row)


def beside_numbers(row: Sequence[str], data: Sequence[str], width: int) -> Sequence[str]:
    """Move a heading that is one cell short to the right where its clock then stands over the stamps.

    Statistics programs number the rows and leave that column without a heading.
    """
    clock = next((i for i, c in enumerate(row) if words_for("part", "time") & set(c.casefold().split())), None)
    stamp = next((i for i, c in enumerate(data) if _STAMP.search(c)), None)
    return ["", *row] if len(row) == width - 1 and clock is not None and stamp == clock + 1 else row


def _fit(row: Sequence[str], width: int) -> tuple[str, ...]:
    cells = [c.strip().strip("\ufeff").strip('"').strip() for c in row]
    if cells and cells[0].startswith("#") and len(cells[0]) > 1:
        cells[0] = cells[0].lstrip("# ")
    return tuple((cells + [""] * width)[:width])


def _share(row: Sequence[str], test: object) -> float:
    filled = [c for c in row if c.strip()]
    return sum(bool(test(c)) for c in filled) / len(filled) if filled else 0.0  # type: ignore[operator]


def _distinct(row: Sequence[str]) -> bool:
    filled = [c for c in row if c]
    return len(set(filled)) == len(filled) and len(filled) >= 0.7 * len(row)


def _joined(rows: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Put heading rows together; a name above stands for the columns to its right, as in merged cells."""
    rows = [_spread(row) if row is not rows[-1] else row for row in rows]
    return tuple(" ".join(dict.fromkeys(c for c in column if c)) for column in zip(*rows, strict=True))


def _spread(row: Sequence[str]) -> tuple[str, ...]:
    """Fill the blanks of a row of groups from the left; a title in one cell stays where it is."""
    if sum(bool(c) for c in row) < _GROUPS:
        return tuple(row)
    return tuple(accumulate(row, lambda left, here: here or left))


def unique_names(names: Sequence[str]) -> tuple[str, ...]:
    """Name what is nameless and tell twins apart, so that a heading always means one column."""
    seen: Counter[str] = Counter()
    result = []
    for i, name in enumerate(names):
        name = name or f"column {i + 1}"
        seen[name] += 1
        result.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(result)
