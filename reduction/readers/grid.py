"""The rectangle between a file's bytes and its meaning: Arrow columns under headings."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from reduction.readers.table import Fault, Guess, Question

MISSING_WORDS = (
    "", "-", "--", "---", "----", ".", "?", "*", "#N/A", "N/A", "n/a", "NA", "na", "#NA", "NaN", "nan", "NAN",
    "-nan", "-NaN", "NULL", "null", "Null", "None", "none", "nil", "unavailable", "unknown", "Unavailable",
    "Unknown", "UNAVAILABLE", "UNKNOWN", "missing", "Missing", "MISSING", "err", "Err", "ERR", "error", "Error",
    "ERROR", "fault", "Fault", "FAULT", "OL", "OVR", "OFL", "OVER", "UNDER", "Overflow", "overrange", "OverRange",
    "fail", "Fail", "FAIL", "invalid", "Invalid", "INVALID", "bad", "Bad", "BAD", "no data", "No Data", "NO DATA",
    "nodata", "n.d.", "k.A.", "k. A.", "fehlt", "Fehler", "FEHLER", "ungültig", "leer", "manquant", "erreur",
    "inconnu", "sin dato", "s/d", "#DIV/0!", "#VALUE!", "#REF!", "#NUM!", "inf", "-inf", "Inf", "+inf", "INF",
    "disconnected", "offline", "timeout", "Timeout", "NO SENSOR", "no sensor",
)  # fmt: skip


@dataclass(frozen=True)
class Layout:
    """How a text file is laid out, found from its first lines."""

    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    statistics: tuple[str, ...]
    first_data_line: int
    preamble: tuple[str, ...]
    has_heading: bool
    quoted: bool = True
    decimal_because: str = ""


@dataclass(frozen=True)
class Grid:
    """Columns of one file or sheet before anyone has said what they mean.

    `columns` are Arrow arrays of equal length: number, string, timestamp, date, time or bool; missing is null.
    `first_row` is the number, counted from 1 as an editor does, of the first data row.
    """

    names: tuple[str, ...]
    columns: tuple[pa.Array, ...]
    units: tuple[str, ...]
    statistics: tuple[str, ...]
    preamble: tuple[str, ...] = ()
    first_row: int = 1
    delimiter: str | None = None
    decimal: str = "."
    has_heading: bool = True
    sheet: str | None = None
    faults: tuple[Fault, ...] = ()
    guesses: tuple[Guess, ...] = ()
    questions: tuple[Question, ...] = ()
    lines_without_row: tuple[int, ...] = field(default=(), repr=False)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.columns[0]) if self.columns else 0

    def row_number(self, index: int) -> int:
        """Return the number an editor gives the row of an index; lines that gave no row count too."""
        number = self.first_row + index
        for line in self.lines_without_row:
            if line > number:
                break
            number += 1
        return number


def as_text(column: pa.Array) -> pa.Array:
    """Return a column as trimmed strings, every kind of blank made a plain one, blank made null."""
    text = column if pa.types.is_string(column.type) else column.cast(pa.string())
    if pc.any(pc.match_substring_regex(text, "[\\x{A0}\\x{202F}\\x{2009}\\x{FEFF}\"']")).as_py():
        text = pc.replace_substring_regex(text, "[\\x{A0}\\x{202F}\\x{2009}]", " ")
        text = pc.replace_substring_regex(text, '[\\x{FEFF}"]', "")
    text = pc.utf8_trim_whitespace(text)
    return pc.if_else(pc.equal(text, ""), None, text)


def is_numeric(column: pa.Array) -> bool:
    """Tell whether the parser already found numbers."""
    return bool(pa.types.is_integer(column.type) or pa.types.is_floating(column.type))


def to_floats(column: pa.Array) -> NDArray[np.float64]:
    """Return a numeric Arrow column as float64 [n], null and infinity as NaN; without a copy where it can be."""
    if column.type != pa.float64():
        column = column.cast(pa.float64(), safe=False)
    values = np.asarray(column.to_numpy(zero_copy_only=False), dtype=np.float64)
    endless = np.isinf(values)
    return np.where(endless, np.nan, values) if endless.any() else values
