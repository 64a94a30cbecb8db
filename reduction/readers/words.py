"""Words that headings and cells use, from the tables in reduction/data."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files


@cache
def rows_of(file: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a table in reduction/data."""
    text = files("reduction").joinpath("data", file).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


@cache
def meanings(use: str) -> dict[str, str]:
    """Return word → meaning of one use: `statistic`, `quantity`, `part` of a table, or `cell`.

    Examples
    --------
    >>> meanings("quantity")["leistung"]
    'power'
    """
    return {
        w: row["meaning"] for row in rows_of("heading_words.csv") if row["use"] == use for w in row["words"].split()
    }


@cache
def words_for(use: str, meaning: str) -> frozenset[str]:
    """Return all words of one meaning."""
    rows = [r for r in rows_of("heading_words.csv") if (r["use"], r["meaning"]) == (use, meaning)]
    return frozenset(word for row in rows for word in row["words"].split())


@cache
def places() -> dict[str, tuple[str, ...]]:
    """Return word → places and loads of a test that it names."""
    found: dict[str, tuple[str, ...]] = {}
    for row in rows_of("place_words.csv"):
        for word in row["words"].split():
            found[word] = (*found.get(word, ()), row["place"])
    return found
