"""Wide tables: one row per instant, one column per quantity."""

from __future__ import annotations

import numpy as np

from reduction.readers.grid import Grid
from reduction.readers.headings import Heading, parse_headings
from reduction.readers.naming import named_from_outside
from reduction.readers.numbers import Values, read_values
from reduction.readers.raw import Raw, Raws, counts_rows, counts_seconds
from reduction.readers.table import FloatArray, Guess
from reduction.readers.tidy import in_order
from reduction.readers.times import Times

_SPARSE = 0.5  # share of blanks from which a blank means “not reported here”, common practice in merged logs


def read_wide(grid: Grid, times: Times, file: str) -> Raws:
    """Read every column that holds numbers; full ones share one array of times."""
    headings = parse_headings(grid.names, grid.units, grid.statistics)
    taken, left_out = _numbers(grid, times, headings)
    time_s, columns, faults = in_order(times.time_s, [v.values for _, v in taken], grid.row_number, times.resolution_s)
    raws = []
    for (heading, read), values in zip(taken, columns, strict=True):
        if np.isfinite(values).any():
            raws.append(_raw(heading.with_cell_unit(read.unit), read, time_s, values))
    raws, told = named_from_outside(raws, grid, file)
    guesses = [*left_out, *told]
    cell_faults = tuple(f for _, v in taken for f in v.faults)
    return Raws(raws, (*faults, *cell_faults), tuple(guesses), "wide table" if len(raws) > 1 else "one sensor")


def _numbers(grid: Grid, times: Times, headings: list[Heading]) -> tuple[list[tuple[Heading, Values]], list[Guess]]:
    """Return the columns of readings, and why each of the others is left out."""
    taken: list[tuple[Heading, Values]] = []
    left_out: list[Guess] = []
    for index in (i for i in range(len(grid.names)) if i not in times.columns):
        name = grid.names[index]
        if counts_rows(grid, index):
            left_out.append(Guess("left_out", name, f"“{name}” counts the rows", 0.95))
            continue
        if counts_seconds(grid, index):
            left_out.append(Guess("left_out", name, f"“{name}” holds further stamps", 0.9))
            continue
        read = read_values(grid.columns[index], grid.decimal, name, grid.row_number, headings[index].unit)
        if read is None:
            left_out.append(Guess("left_out", name, f"“{name}” holds words or further stamps", 0.9))
        elif not np.isfinite(read.values).any():
            left_out.append(Guess("left_out", name, f"“{name}” has no reading at all", 0.95))
        else:
            taken.append((headings[index], read))
    return taken, left_out


def _raw(heading: Heading, read: Values, time_s: FloatArray, values: FloatArray) -> Raw:
    """Make a raw column; one that is mostly blank keeps only the rows in which it was reported."""
    blank = np.isnan(values)
    if np.count_nonzero(blank) <= _SPARSE * len(blank):
        return Raw(heading.text, heading, time_s, values, read.is_state)
    return Raw(heading.text, heading, time_s[~blank], values[~blank], read.is_state, reported=True)
