"""Stamps whose parts stand in an unusual order, rewritten as dates with the time behind them."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pyarrow as pa
import pyarrow.compute as pc

_DAYS_OF_LONGEST_YEAR = 366
_REWRITTEN = (
    (
        r"^(?:[A-Za-z]{2,10}\.?,?\s+)?([A-Za-z]{3,10})\.?\s+(\d{1,2})\s+(\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)"
        r"\s+(?:([A-Z]{3,4}|[+\-]\d{4})\s+)?(\d{4})$",
        r"\1 \2 \5 \3 \4",
    ),
    (r"^(\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s?[AaPp][Mm])?)[ ,]+(\d{1,4}[./\-]\d{1,2}[./\-]\d{1,4})$", r"\2 \1"),
)
_DAY_OF_YEAR = re.compile(r"^(\d{4})-?(\d{3})([T ].*)$")


def in_usual_order(text: pa.Array) -> pa.Array:
    """Rewrite stamps such as `Wed Jul 14 14:05:30 2026` or `2026-195T14:05:30` as dates with the time behind them."""
    first = next((str(t) for t in text[:50].to_pylist() if t), "")
    for pattern, order in _REWRITTEN:
        if re.match(pattern, first):
            return pc.utf8_trim_whitespace(pc.replace_substring_regex(text, pattern, order))
    if not _DAY_OF_YEAR.match(first):
        return text
    encoded = text.dictionary_encode()
    dates = [_dated(t) for t in encoded.dictionary.to_pylist()]
    return pa.array(dates, pa.string()).take(encoded.indices)


def _dated(text: str | None) -> str | None:
    found = _DAY_OF_YEAR.match(text or "")
    if not found or not 1 <= int(found[2]) <= _DAYS_OF_LONGEST_YEAR:
        return text
    day = date(int(found[1]), 1, 1) + timedelta(days=int(found[2]) - 1)
    return f"{day.isoformat()}{found[3]}" if day.year == int(found[1]) else None
