"""The reference tables in `reduction/data`: every row carries its source, and a row without one is refused."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of `reduction/data/<name>.csv` as text by column.

    Raises
    ------
    ValueError
        If a row has no source.

    Examples
    --------
    >>> table("rating_conditions")[0]["room_temp_c"]
    '26.6667'
    """
    text = resources.files("reduction").joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    rows = tuple(csv.DictReader(text.splitlines()))
    for number, row in enumerate(rows, start=2):
        if not (row.get("source") or "").strip():
            raise ValueError(f"{name}.csv, row {number}: no source")
    return rows


def number(text: str) -> float | None:
    """Return a cell as a number; an empty cell is None.

    Examples
    --------
    >>> number("1.5"), number("")
    (1.5, None)
    """
    return float(text) if text.strip() else None
