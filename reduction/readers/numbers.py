"""Cells to numbers: decimal marks, thousands, units in cells, state words, and what could not be read."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from reduction.readers.grid import as_text, is_numeric, to_floats
from reduction.readers.table import Fault, FloatArray
from reduction.readers.vocabulary import PhysicalUnit, find_unit
from reduction.readers.words import meanings

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Cell = tuple[float, PhysicalUnit | None]
RowNumber = Callable[[int], int]
_QUOTED = 3
_PLAIN = r"^[+\-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+\-]?\d+)?$"
_CELL = re.compile(r"^([+\-−]?\s?(?:\d[\d.,'’ ]*|[.,]\d+)(?:[eE][+\-]?\d+)?)\s*(.*)$")
_GROUPED = {
    ",": re.compile(r"[+\-]?[1-9]\d{0,2}(?:,\d{3})+"),
    ".": re.compile(r"[+\-]?[1-9]\d{0,2}(?:\.\d{3})+"),
}


@dataclass(frozen=True)
class Values:
    """A column as numbers, NaN where missing; `unit` where cells carry one; `is_state` where they were words."""

    values: FloatArray
    unit: PhysicalUnit | None = None
    is_state: bool = False
    faults: tuple[Fault, ...] = ()


def parse_number(text: str, decimal: str = ".") -> float:
    """Read one number with whatever separators it has; NaN where it is none.

    Examples
    --------
    >>> parse_number("1.204,5", ","), parse_number("1,186"), parse_number("1 186,5", ","), parse_number("7.42E+02")
    (1204.5, 1186.0, 1186.5, 742.0)
    """
    text = re.sub(r"[\s'’]", "", text.replace("−", "-"))
    marks = [c for c in text if c in ".,"]
    if len(set(marks)) == 2:
        last = marks[-1]
        text = text.replace("," if last == "." else ".", "").replace(last, ".")
    elif marks:
        mark = marks[0]
        grouped = _GROUPED[mark].fullmatch(text) and (mark != decimal or len(marks) > 1)
        text = text.replace(mark, "" if grouped else ".")
    try:
        return float(text)
    except ValueError:
        return np.nan


def parse_cell(text: str, decimal: str) -> Cell | None:
    """Read a cell such as `24.6 °C`; None where it is no number or its unit is unknown."""
    found = _CELL.match(text)
    if not found:
        return None
    unit = find_unit(found[2]) if found[2] else None
    value = parse_number(found[1], decimal)
    if np.isnan(value) or (found[2] and unit is None):
        return None
    return value, unit


def read_values(
    column: pa.Array, decimal: str, name: str, row_number: RowNumber, unit: PhysicalUnit | None
) -> Values | None:
    """Read a column as numbers.

    Parameters
    ----------
    unit
        Unit of the heading; cells that state another are converted to it.

    Returns
    -------
    Values or None
        None where the column holds words or instants.
    """
    if is_numeric(column):
        return Values(to_floats(column))
    if pa.types.is_boolean(column.type):
        return Values(to_floats(column.cast(pa.int8())), is_state=True)
    if pa.types.is_dictionary(column.type):
        column = column.cast(column.type.value_type)
    if not pa.types.is_string(column.type):
        return None
    return _from_text(as_text(column), decimal, name, row_number, unit)


def _from_text(
    text: pa.Array, decimal: str, name: str, row_number: RowNumber, unit: PhysicalUnit | None
) -> Values | None:
    plain = (
        pc.fill_null(pc.match_substring_regex(text, _PLAIN), False) if decimal == "." else pa.array([False] * len(text))
    )
    values = to_floats(pc.if_else(plain, text, None).cast(pa.float64()))
    rest = pc.if_else(plain, None, text).dictionary_encode()
    words = rest.dictionary.to_pylist()
    codes = np.asarray(rest.indices.fill_null(-1))
    if not words:
        return Values(values)
    cells = [parse_cell(w, decimal) for w in words]
    states = np.array([_state(w) for w in words])
    read = np.array([c[0] if c else np.nan for c in cells])
    here = codes >= 0
    if not np.isfinite(read).any() and not bool(pc.any(plain).as_py()) and np.isfinite(states).mean() >= 0.5:
        return Values(np.where(here, states[codes], np.nan), is_state=True)
    chosen = unit or _commonest_unit([c[1] for c in cells if c], [w for w, c in zip(words, cells, strict=True) if c])
    read = np.array([_in_unit(c, chosen) if c else np.nan for c in cells])
    values[here] = read[codes[here]]
    known = int(np.isfinite(values).sum())
    failed = here & np.isnan(values)
    if known < 0.5 * max(1, len(text) - text.null_count):
        return None
    return Values(values, chosen if any(c and c[1] for c in cells) else None, False, (
        *_unread(failed, codes, words, name, row_number), *_mixed(cells, codes, chosen, name)))  # fmt: skip


def readable_share(column: pa.Array, decimal: str) -> float:
    """Return which share of a text column's cells are numbers or state words."""
    words = as_text(column).drop_null()
    if not len(words):
        return 0.0
    return sum(parse_cell(w, decimal) is not None or not np.isnan(_state(w)) for w in words.to_pylist()) / len(words)


def _state(word: str) -> float:
    folded = word.strip().casefold()
    return {"on": 1.0, "off": 0.0}.get(meanings("cell").get(folded, ""), np.nan)


def _commonest_unit(units: list[PhysicalUnit | None], words: list[str]) -> PhysicalUnit | None:
    counted = Counter(u.symbol for u in units if u)
    return (
        next((u for u in units if u and u.symbol == counted.most_common(1)[0][0]), None) if counted and words else None
    )


def _in_unit(cell: Cell, wanted: PhysicalUnit | None) -> float:
    value, unit = cell
    if unit is None or wanted is None or unit.symbol == wanted.symbol:
        return value
    if unit.quantity != wanted.quantity:
        return np.nan
    return float((value * unit.factor + unit.offset - wanted.offset) / wanted.factor)


def _unread(
    failed: BoolArray, codes: IntArray, words: list[str], name: str, row_number: RowNumber
) -> tuple[Fault, ...]:
    """Quote the worst three words that are no number, and count the rest."""
    if not failed.any():
        return ()
    counted = Counter(words[c] for c in codes[failed].tolist())
    worst = ", ".join(f"“{w[:30]}” × {n}" for w, n in counted.most_common(_QUOTED))
    more = f" and {len(counted) - _QUOTED} more words" if len(counted) > _QUOTED else ""
    count, row = int(failed.sum()), row_number(int(np.flatnonzero(failed)[0]))
    sentence = (
        f"{count} cell(s) of “{name}”, the first in row {row}, are no number and count as missing: {worst}{more}."
    )
    return (Fault("not_a_number", count, row, name, sentence),)


def _mixed(cells: list[Cell | None], codes: IntArray, chosen: PhysicalUnit | None, name: str) -> tuple[Fault, ...]:
    if chosen is None:
        return ()
    other = {i: c[1].symbol for i, c in enumerate(cells) if c and c[1] and c[1].symbol != chosen.symbol}
    if not other:
        return ()
    count = int(np.isin(codes, list(other)).sum())
    symbols = ", ".join(sorted(set(other.values())))
    sentence = f"{count} cell(s) of “{name}” are in {symbols} and were converted to {chosen.symbol}."
    return (Fault("mixed_units", count, None, name, sentence),)
