"""Names of columns whose headings say nothing: from lines above the data, the file's name or its folder's."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import PurePath

from reduction.readers.grid import Grid
from reduction.readers.headings import parse_heading, words_of
from reduction.readers.place_words import names_a_place, role_by_words
from reduction.readers.raw import Raw
from reduction.readers.table import Guess
from reduction.readers.words import words_for

_LEGEND_LINE = re.compile(r"^[\s#;*\"]*([A-Za-z]{1,10}[ _]?\d{1,3})\s*(?:[:=,;\t]|\s[-\u2013]\s)\s*(\S.*?)[\s,;]*$")
_CHANNELS = frozenset(
    ("ch", "chan", "channel", "in", "input", "ai", "tc", "probe", "sensor", "s", "kanal", "canal", "p")
)
_DIGITS = frozenset(str(n) for n in range(1000)) | {f"{n:02}" for n in range(100)}
_NAME_LINE = re.compile(r"^[\s#;*\"]*([^\W\d][^:=,;\t\"]{0,30})\"?\s*[:=,;\t]\s*\"?(\S[^,;\t\"]{0,60})")


def named_from_outside(raws: list[Raw], grid: Grid, file: str) -> tuple[list[Raw], list[Guess]]:
    """Return the columns with names from where there is one, and the guesses that say so."""
    if legend := _legend(grid):
        raws = [_named_by_legend(raw, legend) for raw in raws]
        because = "a line above the data says what it is"
        return raws, [Guess("name", raw.name, because, 0.9) for raw in raws if raw.in_file]
    alone = len(raws) == 1
    told = _told(raws, grid, file)
    if told is None and alone and _says_nothing(raws[0], grid):
        told = PurePath(file).stem
    if told is None:
        return raws, []
    raws = [_named(raw, told, alone=alone) for raw in raws]
    because = "the heading says nothing of the place, a line above, the file's name or its folder may"
    return raws, [Guess("name", raw.name, because, 0.7) for raw in raws]


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


def _says_nothing(raw: Raw, grid: Grid) -> bool:
    return not grid.has_heading or not set(raw.heading.words) - words_for("part", "vague")


def _told(raws: list[Raw], grid: Grid, file: str) -> str | None:
    """Return the first name that says a part of the test of a file whose headings name none."""
    headings = [(raw.heading.words, raw.heading.quantity) for raw in raws]
    if any(names_a_place(*heading) for heading in headings):
        return None
    quantities = [q for words, q in headings if q and not role_by_words(words, q)]
    for name in _names(grid, file):
        placed = [q for q in quantities if names_a_place(words_of(name), q)]
        if placed and all(quantities.count(q) == 1 for q in placed if q != "energy"):
            return name
    return None


def _names(grid: Grid, file: str) -> Iterator[str]:
    """Yield what may name the file's place: its own name, a `Name: …` above the data, the folder it lies in."""
    path = PurePath(file)
    yield path.stem
    for line in grid.preamble:
        found = _NAME_LINE.match(line)
        if found and words_for("part", "name") & set(words_of(found[1])):
            yield found[2].strip()
    yield path.parent.name


def _named(raw: Raw, told: str, *, alone: bool) -> Raw:
    named = parse_heading(told)
    name = told if alone else f"{told} {raw.heading.text}"
    said = raw.heading if raw.heading.unit else named
    heading = replace(raw.heading, text=name, words=(*named.words, *raw.heading.words), unit=said.unit,
        quantity=raw.heading.quantity or named.quantity, because=said.because)  # fmt: skip
    return replace(raw, name=name, heading=heading, in_file=raw.name)
