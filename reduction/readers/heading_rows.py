"""The rows above the data: names, units, statistics, and which of them stand over which column."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate

from reduction.readers.cells import STAMP, is_data, is_reading, looks_like_heading
from reduction.readers.refusals import refusal
from reduction.readers.vocabulary import find_unit
from reduction.readers.words import meanings, words_for

_MOST_UNITS = 0.5  # share of a row from which it is one of units
_GROUPS = 2
_FRACTION = "fraction of a second (ms)"


def heading_rows(
    rows: Sequence[Sequence[str]], first: int, width: int
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], int]:
    """Return names, units and statistics from the rows above the data, and the line where they begin."""
    block, top = _rows_above(rows, first, width)
    blank = ("",) * width
    if not block:
        return tuple(f"column {i + 1}" for i in range(width)), blank, blank, first
    heads = [fit(beside_numbers(row, rows[first], width), width) for row in block]
    units = next((r for r in heads[1:] if _share(r, lambda c: find_unit(c) is not None) >= _MOST_UNITS), blank)
    statistics = next(
        (r for r in heads[1:] if _share(r, lambda c: c.strip().casefold() in meanings("statistic")) >= 0.5), blank
    )
    naming = [r for r in heads if r is not units and r is not statistics]
    if not naming:
        naming, units = [units], blank
    if len(naming) > 1 and (not _distinct(naming[-1]) or _counts_places(naming[-1])):
        return unique_names(_joined(naming)), units, statistics, top
    top += next(i for i, r in enumerate(heads) if r is naming[-1])
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
    return len(block) == 1 and _share(fit(block[0], width), lambda c: find_unit(c) is not None) >= _MOST_UNITS


def _heads_units(row: Sequence[str], width: int) -> bool:
    """Tell a heading with bare numbers, such as `stamp,1,2,3`, by the units row below it."""
    fits = len(row) > 1 and width - 1 <= len(row) <= width + 1
    return fits and not any(STAMP.search(c) for c in row) and not is_data(row[0])


def _counts_places(row: Sequence[str]) -> bool:
    """Tell a row that only counts what the row above it names."""
    return any(c.strip().isdigit() for c in row)


def _may_head(row: Sequence[str], width: int) -> bool:
    return len(row) > 1 and width - 1 <= len(row) <= width + 1 and looks_like_heading(row)


def beside_numbers(row: Sequence[str], data: Sequence[str], width: int) -> Sequence[str]:
    """Put a heading that is one cell short or long where its clock stands over the stamps.

    Statistics programs number the rows without a heading; a comma before the thousandths parts a stamp in two; one
    stamp may stand under a heading for the date and one for the time.
    """
    clock = next((i for i, c in enumerate(row) if words_for("part", "time") & set(c.casefold().split())), None)
    stamp = next((i for i, c in enumerate(data) if STAMP.search(c)), None)
    if clock is None or stamp is None:
        return row
    if len(row) == width - 1 and stamp == clock + 1:
        return ["", *row]
    if len(row) == width - 1 and stamp == clock and re.fullmatch(r"\d{3}|\d{6}", data[stamp + 1].strip()):
        return [*row[: clock + 1], _FRACTION, *row[clock + 1 :]]
    after = row[clock + 1].casefold() if clock + 1 < len(row) else ""
    if len(row) == width + 1 and stamp == clock and words_for("part", "time") & set(after.split()):
        return [f"{row[clock]} {row[clock + 1]}", *row[clock + 2 :]] if clock == 0 else row
    return row


def refuse_short_heading(rows: Sequence[Sequence[str]], first: int, width: int, file: str) -> None:
    """Refuse readings of which one more stands in each row than there are headings: nobody knows which has none."""
    above, data = rows[first - 1], rows[first]
    is_short = len(above) == width - 1 == len(beside_numbers(above, data, width)) and _may_head(above, width)
    if is_short and len(data) == width and is_reading(data[-1]):
        raise refusal(file, f"{width} readings in a row under {width - 1} headings", "a heading for each column",
            "Give every column a heading, and quote numbers that hold the delimiter.")  # fmt: skip


def fit(row: Sequence[str], width: int) -> tuple[str, ...]:
    """Return the cells of a row, clean and as many as the data have."""
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
