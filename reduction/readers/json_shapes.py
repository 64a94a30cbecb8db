"""JSON documents of other shapes than one object per reading, unfolded into such objects.

What programs hand out: a table by columns, a list for each sensor, series with their points, all of it under a few
keys that say nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

Row = dict[str, Any]

_DEEPEST, _PAIR = 8, 2
_DATE = re.compile(r"\d{4}[-/]\d{2}[-/]\d{2}")
_HOLDERS = frozenset(
    ("data", "rows", "result", "results", "records", "readings", "values", "series", "items", "history", "samples",
     "points", "datapoints", "body", "payload", "response", "entries", "measurements", "feeds", "states", "logs")
)  # fmt: skip
_NAMES = ("name", "entity_id", "target", "metric", "sensor", "channel", "id", "label", "topic", "device")
_EARLIEST, _LATEST = 946_684_800, 4_102_444_800  # the years 2000 to 2100, in seconds since 1970


def unfolded(document: object) -> list[Row]:
    """Return one object per reading; an empty list where the document holds none.

    Examples
    --------
    >>> unfolded({"data": {"time": ["2026-07-14T18:05:00Z"], "room_C": [26.6]}})
    [{'time': '2026-07-14T18:05:00Z', 'room_C': 26.6}]
    >>> unfolded([{"target": "room", "datapoints": [[26.6, 1784052300000]]}])
    [{'target': 'room', 'value': 26.6, 'time': 1784052300000}]
    >>> unfolded([[{"entity_id": "room", "state": "26.6"}, {"state": "26.7"}]])
    [{'entity_id': 'room', 'state': '26.6'}, {'entity_id': 'room', 'state': '26.7'}]
    """
    return list(_rows(document, {}, 0))


def flat(row: Mapping[str, Any], prefix: str = "") -> Row:
    """Bring nested objects to one level, keys put together with a point; lists are left out."""
    found: Row = {}
    for key, value in row.items():
        if isinstance(value, dict):
            found |= flat(value, f"{prefix}{key}.")
        elif not isinstance(value, list):
            found[f"{prefix}{key}"] = value
    return found


def _rows(node: object, context: Row, depth: int) -> Iterator[Row]:
    if depth > _DEEPEST:
        return
    if isinstance(node, dict):
        yield from _of_object(node, context, depth)
    elif isinstance(node, list) and node:
        if all(isinstance(each, dict) for each in node):
            yield from _of_objects(node, context, depth)
        elif all(isinstance(each, list) for each in node):
            yield from _of_lists(node, context, depth)


def _of_object(node: Row, context: Row, depth: int) -> Iterator[Row]:
    """A table by columns, or the holder of what is further in; a key that is no mere holder names its series."""
    columns = {k: v for k, v in node.items() if isinstance(v, list) and v and not isinstance(v[0], dict | list)}
    if len(columns) > 1 and len({len(v) for v in columns.values()}) == 1:
        for cells in zip(*columns.values(), strict=True):
            yield context | dict(zip(columns, cells, strict=True))
        return
    inner = {k: v for k, v in node.items() if _holds(v)}
    beside = flat({k: v for k, v in node.items() if k not in inner})
    for key, value in inner.items():
        name = {} if key.casefold() in _HOLDERS or _named(context | beside) else {"name": key}
        yield from _rows(value, context | beside | name, depth + 1)


def _of_objects(node: Sequence[Row], context: Row, depth: int) -> Iterator[Row]:
    """Readings, or series that hold theirs; what the first tells of all of them need not be said again."""
    told: Row = {}
    for each in node:
        if any(_holds(value) and isinstance(value, list) for value in each.values()):
            yield from _of_object(each, context, depth + 1)
            continue
        row = flat(each)
        told = told or {key: row[key] for key in _NAMES if key in row}
        yield context | told | row


def _of_lists(node: Sequence[list[Any]], context: Row, depth: int) -> Iterator[Row]:
    """Points of a series, rows under a heading, or a list for each sensor."""
    if any(isinstance(cell, dict | list) for row in node for cell in row[:1]):
        for each in node:
            yield from _rows(each, context, depth + 1)
        return
    first, width = node[0], len(node[0])
    if width > 1 and all(isinstance(cell, str) for cell in first) and not any(map(_is_instant, first)):
        keys, points = [str(cell) for cell in first], node[1:]
    else:
        at = next((i for i, cell in enumerate(first) if _is_instant(cell)), 0)
        others = ["value"] if width == _PAIR else [f"value {i}" for i in range(1, width)]
        keys, points = [*others[:at], "time", *others[at:]], node
    for row in points:
        if len(row) == len(keys):
            yield context | dict(zip(keys, row, strict=True))


def _holds(value: object) -> bool:
    """Tell what may have readings further in."""
    if isinstance(value, dict):
        return any(_holds(each) for each in value.values())
    return isinstance(value, list) and bool(value)


def _named(row: Mapping[str, Any]) -> bool:
    return any(name in row for name in _NAMES)


def _is_instant(cell: object) -> bool:
    if isinstance(cell, bool) or not isinstance(cell, int | float | str):
        return False
    if isinstance(cell, str):
        return bool(_DATE.match(cell))
    return any(_EARLIEST <= cell / scale <= _LATEST for scale in (1, 1e3, 1e6, 1e9))
