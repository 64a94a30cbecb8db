"""Wide tables: one row per instant, one column per quantity."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import PurePath

import numpy as np

from reduction.readers.grid import Grid
from reduction.readers.headings import Heading, parse_heading, parse_headings, words_of
from reduction.readers.numbers import Values, read_values
from reduction.readers.place_words import names_a_place, role_by_words
from reduction.readers.raw import Raw, Raws, counts_rows
from reduction.readers.table import FloatArray, Guess
from reduction.readers.tidy import in_order
from reduction.readers.times import Times
from reduction.readers.words import words_for

_LEGEND_LINE = re.compile(r"^[\s#;*\"]*([A-Za-z]{1,10}[ _]?\d{1,3})\s*(?:[:=,;\t]|\s[-\u2013]\s)\s*(\S.*?)[\s,;]*$")
_CHANNELS = frozenset(
    ("ch", "chan", "channel", "in", "input", "ai", "tc", "probe", "sensor", "s", "kanal", "canal", "p")
)
_DIGITS = frozenset(str(n) for n in range(1000)) | {f"{n:02}" for n in range(100)}
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
    guesses = [*left_out]
    if legend := _legend(grid):
        raws = [_named_by_legend(raw, legend) for raw in raws]
        guesses += [
            Guess("name", raw.name, "a line above the data says what it is", 0.9) for raw in raws if raw.in_file
        ]
    if _only_the_file_says(raws, grid, file):
        raws = [_named_by_file(raw, file, alone=len(raws) == 1) for raw in raws]
        because = "the heading says nothing of the place, the file's name may"
        guesses += [Guess("name", raw.name, because, 0.7) for raw in raws]
    cell_faults = tuple(f for _, v in taken for f in v.faults)
    return Raws(raws, (*faults, *cell_faults), tuple(guesses), "wide table" if len(raws) > 1 else "one sensor")


def _legend(grid: Grid) -> dict[str, str]:
    """Return what lines above the data say of headings that say nothing: `CH1: supply air`."""
    dumb = {
        name for name in grid.names if not set(words_of(name)) - {*words_for("part", "vague"), *_CHANNELS, *_DIGITS}
    }
    told = {}
    for line in grid.preamble:
        found = _LEGEND_LINE.match(line)
        if found and found[1] in dumb:
            told[found[1]] = found[2].strip(' "')
    return told if len(told) > 1 else {}


def _named_by_legend(raw: Raw, legend: dict[str, str]) -> Raw:
    if raw.name not in legend:
        return raw
    name = f"{raw.name} {legend[raw.name]}"
    said = parse_heading(name)
    heading = said if said.unit else replace(said, unit=raw.heading.unit, because=raw.heading.because)
    heading = replace(heading, quantity=heading.quantity or raw.heading.quantity)
    return replace(raw, name=name, heading=heading, in_file=raw.name)


def _numbers(grid: Grid, times: Times, headings: list[Heading]) -> tuple[list[tuple[Heading, Values]], list[Guess]]:
    """Return the columns of readings, and why each of the others is left out."""
    taken: list[tuple[Heading, Values]] = []
    left_out: list[Guess] = []
    for index in (i for i in range(len(grid.names)) if i not in times.columns):
        name = grid.names[index]
        if counts_rows(grid, index):
            left_out.append(Guess("left_out", name, f"“{name}” counts the rows", 0.95))
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


def _only_the_file_says(raws: list[Raw], grid: Grid, file: str) -> bool:
    """Tell a file of one place: no heading names a part of the test, and the file's name does or must."""
    if len(raws) == 1 and (not grid.has_heading or not set(raws[0].heading.words) - words_for("part", "vague")):
        return True
    headings = [(raw.heading.words, raw.heading.quantity) for raw in raws]
    quantities = [q for words, q in headings if q and not role_by_words(words, q)]
    stem = words_of(PurePath(file).stem)
    placed = [q for q in quantities if names_a_place(stem, q)]
    return (
        bool(placed)
        and all(quantities.count(q) == 1 for q in placed if q != "energy")
        and not any(names_a_place(*heading) for heading in headings)
    )


def _named_by_file(raw: Raw, file: str, *, alone: bool) -> Raw:
    stem = PurePath(file).stem
    named = parse_heading(stem)
    name = stem if alone else f"{stem} {raw.heading.text}"
    said = raw.heading if raw.heading.unit else named
    heading = replace(raw.heading, text=name, words=(*named.words, *raw.heading.words), unit=said.unit,
        quantity=raw.heading.quantity or named.quantity, because=said.because)  # fmt: skip
    return replace(raw, name=name, heading=heading, in_file=raw.name)
