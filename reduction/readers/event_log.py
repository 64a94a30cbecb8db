"""Long files: one row per report, with a name beside the value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from reduction.readers.grid import Grid, as_text, is_numeric, to_floats
from reduction.readers.headings import Heading, parse_heading, words_of
from reduction.readers.numbers import RowNumber, Values, read_values, readable_share
from reduction.readers.raw import Raw, Raws, counts_rows
from reduction.readers.table import Fault, FloatArray, Guess
from reduction.readers.tidy import in_order
from reduction.readers.times import Times
from reduction.readers.vocabulary import find_unit
from reduction.readers.words import words_for
from reduction.session import Profile

_SAMPLE = 20_000
_MOST_TWINS = 0.1  # share of rows that repeat name and instant beyond which a name is not the whole of it
_TICKS_PER_S = 1000
_MOST_PROPERTIES = 20  # of one device

IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class EventColumns:
    """Which columns of a grid hold the name, perhaps in parts, the values and the unit of a report, if any."""

    names: tuple[int, ...]
    values: tuple[int, ...]
    unit: int | None


def event_columns(grid: Grid, times: Times, profile: Profile) -> EventColumns | None:
    """Tell an event log by a column of names that repeat beside a value; None for a wide table."""
    others = [i for i in range(len(grid.names)) if i not in times.columns]
    texts = [i for i in others if pa.types.is_string(grid.columns[i].type)]
    unit = next((i for i in texts if _is_unit_column(grid, i)), None)
    if profile.name_column in grid.names:
        names: tuple[int, ...] = (grid.names.index(str(profile.name_column)),)
    else:
        named = sorted(
            (i for i in texts if i != unit and _is_name_column(grid, i)), key=lambda i: not _says_name(grid, i)
        )
        if not named:
            return None
        names = _parts_of_name(grid, times, named, unit)
    if profile.value_column in grid.names:
        return EventColumns(names, (grid.names.index(str(profile.value_column)),), unit)
    values = [i for i in others if i not in {*names, unit} and _may_be_value(grid, i)]
    stated = [i for i in values if words_for("part", "value") & set(words_of(grid.names[i]))]
    if not stated and grid.has_heading and not _says_name(grid, names[0]):
        return None
    chosen = tuple(stated[:1] or values)
    return EventColumns(names, chosen, unit) if chosen else None


def _parts_of_name(grid: Grid, times: Times, named: Sequence[int], unit: int | None) -> tuple[int, ...]:
    """Return the column of names, with a second one where only both together name one quantity.

    Loggers write `plug_a, power, 742.0, W` and `plug_a, voltage, 230.1, V`: the device alone would mix the two.
    """
    pairs = [(named[0], other) for other in named[1:]]
    if not pairs:
        return (named[0],)
    if unit is not None and _units_mixed(grid, named[:1], unit):
        for pair in pairs:
            if not _units_mixed(grid, pair, unit):
                return pair
    for pair in pairs:
        if words_for("part", "property") & set(words_of(grid.names[pair[1]])) and _parts_more(grid, pair):
            return pair
    alone = _twins(grid, times, named[:1])
    if alone < _MOST_TWINS:
        return (named[0],)
    together = {pair: _twins(grid, times, pair) for pair in pairs}
    best = min(together, key=lambda pair: together[pair])
    return best if together[best] < 0.5 * alone else (named[0],)


def _units_mixed(grid: Grid, names: Sequence[int], unit: int) -> bool:
    """Tell whether rows of one name carry several units."""
    codes, _ = _coded(grid, names)
    units, symbols = _codes_of(grid.columns[unit])
    stated = units < len(symbols)
    seen = np.unique(codes[stated] * (len(symbols) + 1) + units[stated])
    return len(seen) > len(np.unique(seen // (len(symbols) + 1)))


def _parts_more(grid: Grid, names: tuple[int, int]) -> bool:
    """Tell whether the second column parts what the first names, and not into crumbs."""
    (_, alone), (_, together) = _coded(grid, names[:1]), _coded(grid, names)
    return len(alone) < len(together) <= _MOST_PROPERTIES * len(alone)


def _twins(grid: Grid, times: Times, names: Sequence[int]) -> float:
    """Share of rows that have name and instant in common with another."""
    codes, count = _coded(grid, names)
    known = np.isfinite(times.time_s)
    first = float(np.min(times.time_s[known], initial=np.inf))
    ticks = np.round((times.time_s[known] - first) * _TICKS_PER_S).astype(np.int64)
    keys = np.sort(ticks * (len(count) + 1) + codes[known])
    return float(np.mean(keys[1:] == keys[:-1])) if len(keys) > 1 else 0.0


def _coded(grid: Grid, names: Sequence[int]) -> tuple[IntArray, list[str]]:
    """Number of every row's name, and the names; a name in parts is put together with a blank."""
    codes, found = _codes_of(grid.columns[names[0]])
    for index in names[1:]:
        others, more = _codes_of(grid.columns[index])
        pairs, codes = np.unique(codes * (len(more) + 1) + others, return_inverse=True)
        parts = [divmod(int(pair), len(more) + 1) for pair in pairs]
        found = [" ".join(p for p in ([*found, ""][a], [*more, ""][b]) if p) for a, b in parts]
    return codes, found


def _codes_of(column: pa.Array) -> tuple[IntArray, list[str]]:
    encoded = _encoded(column)
    texts = [str(n).strip() for n in encoded.dictionary.to_pylist()]
    return np.asarray(encoded.indices.fill_null(len(texts)), dtype=np.int64), texts


def _says_name(grid: Grid, index: int) -> bool:
    return bool(words_for("part", "name") & set(words_of(grid.names[index])))


def _is_unit_column(grid: Grid, index: int) -> bool:
    unique = pc.unique(grid.columns[index].slice(0, _SAMPLE)).drop_null().to_pylist()
    if not 0 < len(unique) <= 40:
        return False
    return all(find_unit(u) is not None for u in unique) or grid.names[index].casefold() in words_for("part", "unit")


def _is_name_column(grid: Grid, index: int) -> bool:
    column = grid.columns[index].slice(0, _SAMPLE).drop_null()
    unique = pc.unique(as_text(column)).drop_null()
    if not len(unique) or len(column) < 0.5 * min(len(grid), _SAMPLE):
        return False
    if not any(c.isalpha() for c in unique[0].as_py()) or read_values(unique, ".", "", int, None) is not None:
        return False
    if _says_name(grid, index):
        return len(unique) < len(column) or len(column) == 1
    return len(unique) <= max(1, len(column) // 2) and (not grid.has_heading or len(unique) > 1)


def _may_be_value(grid: Grid, index: int) -> bool:
    column = grid.columns[index]
    if column.null_count == len(column) or _is_label(grid.names[index]):
        return False
    if is_numeric(column):
        return not counts_rows(grid, index)
    if pa.types.is_boolean(column.type):
        return True
    return pa.types.is_string(column.type) and readable_share(column.slice(0, 2000), grid.decimal) >= 0.5


def _is_label(heading: str) -> bool:
    """Tell the number of a sensor, as in `probe.Id`, from a reading."""
    return bool(set(words_of(heading)[-1:]) & words_for("part", "label"))


def read_events(grid: Grid, times: Times, parts: EventColumns) -> Raws:
    """Split a long log by name; each name has its own times, in order and each instant once."""
    codes, names = _coded(grid, parts.names)
    order = np.argsort(codes.astype(np.int16 if len(names) < 32_000 else np.int32), kind="stable")
    bounds = np.searchsorted(codes, np.arange(len(names) + 1), sorter=order)
    units = _encoded(grid.columns[parts.unit]) if parts.unit is not None else None
    time_s = times.time_s[order]
    raws: list[Raw] = []
    faults: list[Fault] = []
    for value in parts.values:
        column = _taken(grid.columns[value], order)
        for name, start, end in zip(names, bounds[:-1], bounds[1:], strict=True):
            unit_text = str(units[int(order[start])].as_py() or "") if units is not None and end > start else ""
            heading = _heading(name, grid.names[value], unit_text, len(parts.values) > 1)

            def row_number(index: int, start: int = int(start)) -> int:
                return grid.row_number(int(order[start + index]))

            read = _read(column[start:end], grid.decimal, heading, row_number)
            if read is None or not np.isfinite(read.values).any():
                continue
            raw, found = _one(heading, read, time_s[start:end], row_number)
            if np.isfinite(raw.values).any():
                raws.append(raw)
                faults += [*found, *read.faults]
    return Raws(raws, tuple(faults), _guesses(grid, parts, len(names)), "event log")


def _guesses(grid: Grid, parts: EventColumns, count: int) -> tuple[Guess, ...]:
    return (
        Guess(
            "name_column",
            " + ".join(grid.names[i] for i in parts.names),
            f"{count} names over {len(grid):,} rows",
            0.97,
        ),
        Guess("value_column", ", ".join(grid.names[i] for i in parts.values), "readings beside the names", 0.97),
    )


def _encoded(column: pa.Array) -> pa.DictionaryArray:
    return column.cast(pa.string()).dictionary_encode()


def _taken(column: pa.Array, order: np.ndarray[tuple[int], np.dtype[np.intp]]) -> FloatArray | pa.Array:
    return to_floats(column)[order] if is_numeric(column) else column.take(pa.array(order))


def _heading(name: str, column: str, unit_text: str, several: bool) -> Heading:
    """Take the name apart, with the unit of its row or, failing that, of the value column's heading."""
    heading = parse_heading(f"{name} {column}" if several else name, unit_text)
    if heading.unit is not None and find_unit(unit_text):
        return replace(heading, because=f"unit “{unit_text.strip()}” beside the value")
    if heading.unit is not None or several:
        return heading
    beside = parse_heading(column)
    because = beside.because if beside.unit else heading.because
    return replace(heading, unit=beside.unit, quantity=heading.quantity or beside.quantity, because=because)


def _read(piece: FloatArray | pa.Array, decimal: str, heading: Heading, row_number: RowNumber) -> Values | None:
    if isinstance(piece, np.ndarray):
        return Values(piece)
    return read_values(piece, decimal, heading.text, row_number, heading.unit)


def _one(heading: Heading, read: Values, time_s: FloatArray, row_number: RowNumber) -> tuple[Raw, list[Fault]]:
    time_s, (values,), found = in_order(time_s, [read.values], row_number)
    faults = [replace(f, column=heading.text, sentence=f"“{heading.text}”: {f.sentence}") for f in found]
    return Raw(heading.text, heading.with_cell_unit(read.unit), time_s, values, read.is_state, True), faults
