"""What readers make of files, as data that the pages show and the session keeps."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from math import isfinite
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from reduction.errors import Place, ReductionError, UnreadableFile
from reduction.readers import layout_fingerprint, read_logs, with_roles
from reduction.readers.table import Column, FloatArray, Log
from reduction.session import Profile

PICTURE_BINS = 96
PREVIEW_ROWS = 10
EVIDENCE_BYTES, EVIDENCE_LINES = 2000, 6
LONGEST_NAME, LONGEST_PATH, LONGEST_PLACE, LONGEST_UNIT = 300, 500, 80, 40  # as the channels' columns hold
UNIT_AT_END = re.compile(r"\s*[(\[][^()\[\]]*[)\]]\s*$")  # a neighbour is the hall, not the `Hall (°F)`
APART_BYTES = 16 << 20  # from here on a file is read in a process of its own, whose memory goes with it


@dataclass(frozen=True)
class Source:
    """A file to read: where it is, what it is called, what was said of it."""

    path: Path
    name: str
    profile: Mapping[str, Any]
    time_zone: str


@dataclass(frozen=True)
class Reading:
    """What was read of one file: `data` as `SessionFile.reading` keeps it, and a proposal for each channel.

    `asks` where nothing was read, because the file can be read in several ways and only a person can say in which.
    """

    data: dict[str, Any]
    proposals: list[dict[str, Any]]
    asks: ReductionError | None = None


def read_together(sources: Sequence[Source]) -> list[Reading | ReductionError]:
    """Read files of one session; roles are proposed over all that can be read, and each other one gives its error."""
    if sum(source.path.stat().st_size for source in sources) < APART_BYTES:
        return _read_all(sources)
    with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as apart:
        return apart.submit(_read_all, sources).result()


def _read_all(sources: Sequence[Source]) -> list[Reading | ReductionError]:
    read = [_logs_of(source) for source in sources]
    proposed = iter(with_roles(tuple(log for logs in read if isinstance(logs, tuple) for log in logs)))
    return [
        _reading(source, tuple(next(proposed) for _ in logs)) if isinstance(logs, tuple) else _asked(source, logs)
        for source, logs in zip(sources, read, strict=True)
    ]


def _logs_of(source: Source) -> tuple[Log, ...] | ReductionError:
    try:
        profile = Profile.model_validate(source.profile)
        logs = read_logs(source.path, name=source.name, profile=profile, time_zone=source.time_zone)
        for log in logs:
            _refuse_long_names(log)
    except ReductionError as error:
        return error
    return logs


def _asked(source: Source, error: ReductionError) -> Reading | ReductionError:
    """Return what a file asks before it can be read, with its first lines; an error that asks nothing stays one."""
    question = getattr(error, "question", None)
    if question is None:
        return error
    asked = asdict(question) | {"found": error.found, "column": error.place.column, "lines": _first_lines(source.path)}
    data = {"logs": [], "columns": [], "first": None, "last": None, "fingerprint": "", "asks": asked}
    return Reading(storable(data), [], error)


def _first_lines(path: Path) -> list[str]:
    """Return the first lines of a file of text; none of one that is packed."""
    with path.open("rb") as file:
        head = file.read(EVIDENCE_BYTES).decode(errors="replace")
    return [] if "\x00" in head or "\ufffd" in head[:-4] else head.splitlines()[:EVIDENCE_LINES]


def _refuse_long_names(log: Log) -> None:
    names = [(log.path, LONGEST_PATH), *((column.name, LONGEST_NAME) for column in log.columns)]
    for name, most in names:
        if len(name) > most:
            raise UnreadableFile(
                place=Place(log.path[:LONGEST_PATH]),
                found=f"{name[:40]}…",
                expected=f"a name of at most {most} characters",
                remedy="Check the delimiter: a whole row may have been taken for one heading.",
            )


def storable(value: Any) -> Any:
    """Return data without what a database refuses: NUL characters, and numbers that are none."""
    if isinstance(value, str):
        return value.replace("\x00", "")
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {key: storable(item) for key, item in value.items()}
    return [storable(item) for item in value] if isinstance(value, list | tuple) else value


def _reading(source: Source, logs: Sequence[Log]) -> Reading:
    columns = [_column_read(log, column) for log in logs for column in log.columns]
    firsts = [column["first"] for column in columns if column["first"]]
    lasts = [column["last"] for column in columns if column["last"]]
    data = {
        "logs": [_log_read(log) for log in logs],
        "columns": columns,
        "asks": None,
        "first": min(firsts, default=None),
        "last": max(lasts, default=None),
        "fingerprint": _fingerprint(logs),
    }
    proposals = [_proposal(source, log, column) for log in logs for column in log.columns]
    return Reading(storable(data), storable(proposals))


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


def _proposal(source: Source, log: Log, column: Column) -> dict[str, Any]:
    """Return the fields of the channel that a column is proposed as."""
    return {
        "log": log.path if log.path != source.name else "",
        "column": column.name,
        "role": column.role.value,
        "quantity_unit": column.quantity_unit[:LONGEST_UNIT],
        "kind": column.kind.value,
        "place": UNIT_AT_END.sub("", column.name)[:LONGEST_PLACE] if column.role.startswith("adjacent") else "",
        "is_difference": column.is_difference,
        "guesses": [asdict(guess) for guess in (column.role_guess, column.unit_guess, column.kind_guess)],
    }


def _column_read(log: Log, column: Column) -> dict[str, Any]:
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


def _fingerprint(logs: Sequence[Log]) -> str:
    """Return a digest of shapes and headings: equal for two files of one logger's layout."""
    layouts = sorted(layout_fingerprint(log) for log in logs)
    return layouts[0] if len(layouts) == 1 else hashlib.sha256("".join(layouts).encode()).hexdigest()


def _instant(time_s: float) -> str:
    return datetime.fromtimestamp(float(time_s), UTC).isoformat()
