"""What comes in: the document checked against itself, its files read and checked against their digests."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path, PurePosixPath

from reduction.errors import InvalidSession, NothingToReduce, Place, UnreadableFile
from reduction.readers import with_roles
from reduction.readers.reading import read_sources
from reduction.readers.source import open_sources
from reduction.readers.stamps import AmbiguousDate
from reduction.readers.table import Fault, Log
from reduction.session import LogFile, Session

Span = tuple[float, float]


def session_digest(session: Session) -> str:
    """SHA-256 of the document in canonical JSON: keys sorted, no spaces, defaults written out."""
    canonical = json.dumps(session.model_dump(mode="json"), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(canonical.encode()).hexdigest()


def read_files(session: Session, base: Path) -> tuple[Log, ...]:
    """Read every file of the session, after checking the document against itself and the files against it.

    Parameters
    ----------
    session
        The document.
    base
        Folder that the paths are relative to; no path may leave it.

    Raises
    ------
    NothingToReduce
        If the session names no file.
    InvalidSession
        If a channel, instrument or path stands twice, a path leaves the folder or a digest differs.
    UnreadableFile, UnreadableTime
        If a file is missing or is no log.
    """
    if not session.files:
        raise NothingToReduce(
            place=Place("SESSION.json", column="files"),
            found="an empty list",
            expected="at least one log file",
            remedy="List the logs with their paths relative to the document.",
        )
    check_document(session)
    logs = _read_all(session, base)
    return logs if session.channels else with_roles(logs)  # the tester's roles need no proposals


def _read_all(session: Session, base: Path) -> tuple[Log, ...]:
    """Read the files; one whose dates fit both orders is read again beside what the others and the session say."""
    found: dict[str, tuple[Log, ...] | AmbiguousDate] = {}
    for file in session.files:
        try:
            found[file.path] = _read(file, base, session.time_zone)
        except AmbiguousDate as doubt:
            found[file.path] = doubt
    spans = [(w.start_utc.timestamp(), w.end_utc.timestamp()) for w in session.windows]
    spans += [(e.time_utc.timestamp(), (e.end_utc or e.time_utc).timestamp()) for e in session.events]
    spans += [span for logs in found.values() if not isinstance(logs, AmbiguousDate) for span in _spans(logs)]
    return tuple(
        log for file in session.files for log in _settled(found[file.path], file, base, session.time_zone, spans)
    )


def _settled(
    found: tuple[Log, ...] | AmbiguousDate, file: LogFile, base: Path, time_zone: str, spans: Sequence[Span]
) -> tuple[Log, ...]:
    """The logs of a file; where its dates fit both orders, in the one that meets the rest of the session.

    Raises
    ------
    AmbiguousDate
        If neither order or both meet it.
    """
    if not isinstance(found, AmbiguousDate):
        return found
    meeting = []
    for order in found.question.options:
        profile = file.profile.model_copy(update={"date_order": order})
        logs = _read(file.model_copy(update={"profile": profile}), base, time_zone)
        if any(a <= end and start <= b for start, end in _spans(logs) for a, b in spans):
            meeting.append((order.replace("_", " "), logs))
    if len(meeting) != 1:
        raise found
    order, logs = meeting[0]
    said = Fault("date_order_settled", 1, None, None,
        f"The dates of {file.path} fit both orders; they are read {order}, for only so do they meet its other "
        "files, windows or events.")  # fmt: skip
    return (replace(logs[0], faults=(*logs[0].faults, said)), *logs[1:])


def _spans(logs: Iterable[Log]) -> list[Span]:
    return [(float(c.time_s[0]), float(c.time_s[-1])) for log in logs for c in log.columns[:1] if len(c.time_s)]


def check_document(session: Session) -> None:
    """Refuse a document that contradicts itself.

    Raises
    ------
    InvalidSession
        If something that must be there once stands twice, or a path leaves the folder.
    """
    _once("channels", (f"{channel.column} of {channel.file}" for channel in session.channels))
    _once("instruments", (instrument.id for instrument in session.instruments))
    _once("files", (file.path for file in session.files))
    for file in session.files:
        path = PurePosixPath(file.path)
        if path.is_absolute() or ".." in path.parts:
            raise InvalidSession(
                place=Place("SESSION.json", column="files"),
                found=file.path,
                expected="a path inside the folder of the document",
                remedy="Put the log beside the document.",
            )


def _once(what: str, names: Iterable[str]) -> None:
    name, count = max(Counter(names).items(), key=lambda item: item[1], default=("", 0))
    if count > 1:
        raise InvalidSession(
            place=Place("SESSION.json", column=what),
            found=f"{name}, {count} times",
            expected="each once",
            remedy="Keep one of them; a column has one role and an instrument one set of limits.",
        )


def _read(file: LogFile, base: Path, time_zone: str) -> tuple[Log, ...]:
    path = base / file.path
    if not path.is_file():
        raise UnreadableFile(
            place=Place(file.path),
            found="no such file",
            expected="a log beside the session document",
            remedy="Put it there, or correct the path in `files`.",
        )
    if file.sha256 is not None:
        _check_digest(file.path, file.sha256, path)
    return read_sources(open_sources(path, file.path), file.profile, time_zone)


def _check_digest(name: str, stated: str, path: Path) -> None:
    with path.open("rb") as stream:
        found = hashlib.file_digest(stream, "sha256").hexdigest()
    if found != stated.lower():
        raise InvalidSession(
            place=Place(name),
            found=f"{found[:12]}…",
            expected=f"the SHA-256 {stated[:12]}… that the session states",
            remedy="Restore the original file, or remove `sha256` if the change is meant.",
        )
