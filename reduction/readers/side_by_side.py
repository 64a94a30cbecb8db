"""Tables set side by side on one sheet: each sensor with a time column of its own, parted into grids."""

from __future__ import annotations

from dataclasses import replace

import pyarrow as pa

from reduction.readers.clock_columns import may_be_instants
from reduction.readers.grid import Grid, is_numeric


def tables_of(grid: Grid) -> list[Grid]:
    """Return one grid for each time column that has readings right of it; the grid itself where one clock is all.

    Columns that repeat the first clock are no clocks of their own.
    """
    clocks = [i for i, column in enumerate(grid.columns) if _is_clock(column)]
    if len(clocks) < _LEAST or clocks[0] != 0 or all(_same(grid, clocks[0], i) for i in clocks[1:]):
        return [grid]
    spans = list(zip(clocks, [*clocks[1:], len(grid.names)], strict=True))
    if not all(any(is_numeric(grid.columns[i]) for i in range(a + 1, b)) for a, b in spans):
        return [grid]
    return [_part(grid, a, b) for a, b in spans]


_LEAST = 2


def _is_clock(column: pa.Array) -> bool:
    return bool(pa.types.is_timestamp(column.type)) or may_be_instants(column)


def _same(grid: Grid, one: int, other: int) -> bool:
    return bool(grid.columns[one].equals(grid.columns[other]))


def _part(grid: Grid, first: int, end: int) -> Grid:
    """Return some columns and the rows in which their clock has a stamp."""
    known = grid.columns[first].is_valid()
    cut = slice(first, end)
    gaps = grid.lines_without_row
    return replace(
        grid, names=grid.names[cut], units=grid.units[cut], statistics=grid.statistics[cut],
        columns=tuple(column.filter(known) for column in grid.columns[cut]), lines_without_row=gaps,
    )  # fmt: skip
