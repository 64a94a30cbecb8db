"""A column on its way from a grid to a log."""

from __future__ import annotations

from dataclasses import dataclass

from reduction.readers.grid import Grid, is_numeric, to_floats
from reduction.readers.headings import Heading, words_of
from reduction.readers.stamps import epoch_scale
from reduction.readers.table import Fault, FloatArray, Guess
from reduction.readers.words import words_for


@dataclass(frozen=True)
class Raw:
    """Values in their own unit, sorted by time, with what heading and cells said.

    `reported` where rows exist because something changed, not because a clock struck; `in_file` is the heading as
    the file has it, where the name was taken from elsewhere.
    """

    name: str
    heading: Heading
    time_s: FloatArray
    values: FloatArray
    is_state: bool = False
    reported: bool = False
    in_file: str = ""


@dataclass(frozen=True)
class Raws:
    """All columns of a log on their way, with what was found while they were made."""

    columns: list[Raw]
    faults: tuple[Fault, ...]
    guesses: tuple[Guess, ...]
    shape: str


def counts_rows(grid: Grid, index: int) -> bool:
    """Tell a running row number by its heading and its steps of one."""
    column = grid.columns[index]
    if not is_numeric(column) or not len(column):
        return False
    words = set(words_of(grid.names[index])) or {grid.names[index].strip()}
    if not words <= words_for("part", "row_counter"):
        return False
    steps = to_floats(column.slice(0, 1000))
    return len(steps) < 2 or bool(((steps[1:] - steps[:-1]) == 1).mean() > 0.5)


def counts_seconds(grid: Grid, index: int) -> bool:
    """Tell a further clock that counts from 1970, by its heading and its size."""
    column = grid.columns[index]
    if not is_numeric(column) or not words_for("part", "time") & set(words_of(grid.names[index])):
        return False
    return epoch_scale(to_floats(column)) is not None
