"""What a reader made of a file, as data that the pages show and the session keeps."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import numpy as np

from reduction.readers import layout_fingerprint
from reduction.readers.table import Column, FloatArray, Log

PICTURE_BINS = 96
PREVIEW_ROWS = 10


def of_logs(logs: Sequence[Log]) -> dict[str, Any]:
    """Return the reading of one file: of an archive, that of each log in it."""
    columns = [column_read(log, column) for log in logs for column in log.columns]
    firsts = [column["first"] for column in columns if column["first"]]
    lasts = [column["last"] for column in columns if column["last"]]
    return {
        "logs": [_log_read(log) for log in logs],
        "columns": columns,
        "first": min(firsts, default=None),
        "last": max(lasts, default=None),
        "fingerprint": fingerprint(logs),
    }


def _log_read(log: Log) -> dict[str, Any]:
    return {
        "path": log.path,
        "shape": log.shape,
        "size_bytes": log.size_bytes,
        "profile": log.profile.model_dump(mode="json", exclude_none=True),
        "guesses": [asdict(guess) for guess in log.guesses],
        "questions": [asdict(question) for question in log.questions],
        "faults": [asdict(fault) for fault in log.faults],
        "preview": [list(row) for row in log.preview[:PREVIEW_ROWS]],
    }


def column_read(log: Log, column: Column) -> dict[str, Any]:
    """Return what a page says of a column: span, level, how often, and a small picture."""
    known = np.isfinite(column.values)
    values = column.values[known]
    return {
        "log": log.path,
        "name": column.name,
        "quantity_unit": column.quantity_unit,
        "samples": int(values.size),
        "missing": int(known.size - values.size),
        "first": _instant(column.time_s[0]) if column.time_s.size else None,
        "last": _instant(column.time_s[-1]) if column.time_s.size else None,
        "step_s": float(np.median(np.diff(column.time_s))) if column.time_s.size > 1 else None,
        "low": float(values.min()) if values.size else None,
        "high": float(values.max()) if values.size else None,
        "picture": picture(column.time_s[known], values),
    }


def picture(time_s: FloatArray, values: FloatArray, bins: int = PICTURE_BINS) -> list[list[float]]:
    """Return (place in time 0…1, lowest, highest) of each bin that holds a value, so that no spike is lost."""
    if not values.size:
        return []
    span = max(float(time_s[-1] - time_s[0]), 1.0)
    where = np.minimum((time_s - time_s[0]) / span * bins, bins - 1).astype(int)
    starts = np.flatnonzero(np.diff(where, prepend=-1))
    low, high = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    places = (where[starts] + 0.5) / bins
    return [[round(float(x), 4), float(a), float(b)] for x, a, b in zip(places, low, high, strict=True)]


def fingerprint(logs: Sequence[Log]) -> str:
    """Return a digest of shapes and headings: equal for two files of one logger's layout."""
    layouts = sorted(layout_fingerprint(log) for log in logs)
    return layouts[0] if len(layouts) == 1 else hashlib.sha256("".join(layouts).encode()).hexdigest()


def _instant(time_s: float) -> str:
    return datetime.fromtimestamp(float(time_s), UTC).isoformat()
