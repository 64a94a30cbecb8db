"""A column on its way from a grid to a log, and the words headings use for the parts of a table."""

from __future__ import annotations

from dataclasses import dataclass

from reduction.readers.grid import Grid, is_numeric, to_floats
from reduction.readers.headings import Heading, words_of
from reduction.readers.table import Fault, FloatArray, Guess

NAME_WORDS = frozenset(
    "entity id name sensor channel tag device topic point signal variable key metric probe source measurement "
    "parameter kanal fühler messstelle gerät bezeichnung größe capteur canal nom nombre série serie item attribute "
    "label series what".split()
)
VALUE_WORDS = frozenset("value state reading val v wert messwert valeur valor mesure lectura result data".split())
UNIT_WORDS = frozenset("unit units uom einheit unité unidad unit_of_measurement".split())
VAGUE_WORDS = VALUE_WORDS | frozenset("y temp temperature power column t".split())
_ROW_COUNTERS = frozenset("# no nr num number record rec rn row index idx id seq sample line lfd n zeile".split())


@dataclass(frozen=True)
class Raw:
    """Values in their own unit, sorted by time, with what heading and cells said.

    `reported` where rows exist because something changed, not because a clock struck.
    """

    name: str
    heading: Heading
    time_s: FloatArray
    values: FloatArray
    is_state: bool = False
    reported: bool = False


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
    if not words <= _ROW_COUNTERS:
        return False
    steps = to_floats(column.slice(0, 1000))
    return len(steps) < 2 or bool(((steps[1:] - steps[:-1]) == 1).mean() > 0.5)
