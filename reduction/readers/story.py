"""What a reader made of a file, told to a person; and a mark by which the same logger is known again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np

from reduction.readers.table import Column, Log


def describe(log: Log) -> str:
    """Tell what was understood: shape, clock, every column with unit, kind and role, faults and open questions.

    Every guess is followed by its evidence and how sure it is.
    """
    lines = [
        f"{log.path}: {log.shape}, {log.size_bytes:,} bytes, sha256 {log.sha256[:12]}…",
        f"  {len(log.columns)} column(s), {_span(log.columns)}",
        *(f"  {g.what}: {_visible(g.value)} ({g.sure:.0%}) – {g.because}" for g in log.guesses if g.what != "left_out"),
        *(f"  left out: {g.because}" for g in log.guesses if g.what == "left_out"),
        "  columns:",
    ]
    for column in log.columns:
        lines += _column(column)
    lines += [f"  fault: {f.sentence}" for f in log.faults] or ["  faults: none"]
    lines += [f"  to settle: {q.what}: {' or '.join(q.options)}? {q.because}" for q in log.questions]
    return "\n".join(lines)


def _visible(value: str) -> str:
    return {"\t": "tab", ",": "comma", ".": "point"}.get(value, value)


def _span(columns: Sequence[Column]) -> str:
    first = datetime.fromtimestamp(min(float(c.time_s[0]) for c in columns), UTC)
    last = datetime.fromtimestamp(max(float(c.time_s[-1]) for c in columns), UTC)
    steps = [float(np.median(np.diff(c.time_s))) for c in columns if len(c.time_s) > 1]
    often = f", a row usually every {np.median(steps):.3g} s" if steps else ""
    return f"{first:%Y-%m-%d %H:%M:%S} to {last:%Y-%m-%d %H:%M:%S} UTC{often}"


def _column(column: Column) -> list[str]:
    known = column.values[np.isfinite(column.values)]
    span = f"{known.min():.4g} to {known.max():.4g} {column.quantity_unit}".strip() if len(known) else "no reading"
    missing = len(column.values) - len(known)
    return [
        f"    {column.name}: {column.role.value} ({column.role_guess.sure:.0%}) – {column.role_guess.because}",
        f"      {span}, {len(known):,} readings{f', {missing:,} missing' if missing else ''}; "
        f"{column.kind.value.replace('_', ' ')} ({column.kind_guess.sure:.0%}) – {column.kind_guess.because}",
        f"      unit {column.quantity_unit or 'unknown'} ({column.unit_guess.sure:.0%}) – {column.unit_guess.because}",
    ]


def layout_fingerprint(log: Log) -> str:
    """Return a digest of shape, reading options and headings, for “same logger as last time”.

    The order of columns, the values and the length of the file do not count; a sensor more or less does.
    """
    layout = {
        "shape": log.shape,
        "delimiter": log.profile.delimiter,
        "time": log.profile.time_column,
        "columns": sorted(column.name for column in log.columns),
    }
    return hashlib.sha256(json.dumps(layout, sort_keys=True, ensure_ascii=False).encode()).hexdigest()
