"""Files come in: whole or in parts, read before they are kept, kept byte for byte."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import PurePosixPath
from typing import Protocol

from django.core.files import File
from django.db import transaction

from reduction.errors import InvalidSession, Place, ReductionError
from tests_app import evidence_store
from tests_app.actions import mapping
from tests_app.actions.quotas import BenchIsFull, on_the_way, require_room
from tests_app.actions.reading import Reading, Source, read_together
from tests_app.evidence_store import Arrival
from tests_app.models import Evidence, PartialUpload, Session, SessionFile
from units.models import Bench, Person

NAME_LENGTH = 200
PART_BYTES = 4 << 20
PARTIAL_LIFETIME = timedelta(hours=24)
FOLDERS = re.compile(r"[\\/:]+")
UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f]+")


class Incoming(Protocol):
    """A file on its way in: Django's uploaded file, or the parts of one."""

    name: str
    size: int | None

    def chunks(self, chunk_size: int) -> Iterable[bytes]:
        """Yield its bytes."""


class _Joined:
    """The parts of a resumable upload as one file."""

    def __init__(self, upload: PartialUpload) -> None:
        self.name, self.size, self.upload_id = upload.name, upload.size_bytes, upload.pk

    def chunks(self, chunk_size: int) -> Iterable[bytes]:
        return evidence_store.blocks_of_parts(self.upload_id)


@dataclass
class Upload:
    """What became of several files: kept (with whether each was there already) and refused with a sentence."""

    kept: list[SessionFile] = field(default_factory=list)
    known: list[SessionFile] = field(default_factory=list)
    refused: list[ReductionError] = field(default_factory=list)


def keep_files(*, session: Session, files: Iterable[Incoming], by: Person) -> Upload:
    """Keep each file that can be read; one that cannot leaves nothing behind and does not stop the others."""
    upload = Upload()
    with ExitStack() as stack:
        arrivals = _arrive(session, files, stack, upload)
        if not arrivals:
            return upload
        stored = mapping.sources(session=session, stack=stack)
        fresh = [Source(one.path, name, {}, session.time_zone) for name, one in arrivals.items()]
        read = read_together([*stored.values(), *fresh])
        old = {file: reading for file, reading in zip(stored, read, strict=False) if isinstance(reading, Reading)}
        _keep(session, dict(zip(arrivals.items(), read[len(stored) :], strict=True)), old, by, upload)
    return upload


def _arrive(session: Session, files: Iterable[Incoming], stack: ExitStack, upload: Upload) -> dict[str, Arrival]:
    """Take in the files that are new to the session, under names that are free in it."""
    known = {file.evidence.sha256: file for file in session.files.select_related("evidence")}
    taken = {file.name for file in known.values()}
    arrivals: dict[str, Arrival] = {}
    for file in files:
        name = _free_name(safe_name(file.name), taken)
        try:
            evidence_store.refuse_size(file.size or 0, name=name)
            blocks = file.chunks(evidence_store.BLOCK)
            arrival = stack.enter_context(evidence_store.arriving(blocks, name=name))
        except ReductionError as error:
            upload.refused.append(error)
            continue
        if arrival.sha256 in known:
            upload.known.append(known[arrival.sha256])
        elif arrival.sha256 not in {other.sha256 for other in arrivals.values()}:
            arrivals[name] = arrival
            taken.add(name)
    return arrivals


@transaction.atomic
def _keep(
    session: Session,
    read: Mapping[tuple[str, Arrival], Reading | ReductionError],
    readings: dict[SessionFile, Reading],
    by: Person,
    upload: Upload,
) -> None:
    """Write what was read; the session is locked, and what others brought or removed meanwhile is looked at again."""
    Session.objects.select_for_update().get(pk=session.pk)
    here = {file.evidence.sha256: file for file in session.files.select_related("evidence")}
    readings = {file: reading for file, reading in readings.items() if file in here.values()}
    for (name, arrival), reading in read.items():
        if isinstance(reading, ReductionError):
            upload.refused.append(reading)
            continue
        if arrival.sha256 in here:
            upload.known.append(here[arrival.sha256])
            continue
        try:
            evidence = keep_evidence(bench=session.bench, arrival=arrival, by=by, name=name)
        except BenchIsFull as error:
            upload.refused.append(error)
            continue
        free = _free_name(name, {file.name for file in here.values()})
        here[arrival.sha256] = file = SessionFile.objects.create(session=session, evidence=evidence, name=free)
        upload.kept.append(file)
        readings[file] = reading
    if upload.kept:
        mapping.keep_readings(readings=readings, by=by)


def keep_evidence(*, bench: Bench, arrival: Arrival, by: Person, name: str) -> Evidence:
    """Return the bench's row for these bytes, there already or, where the bench has room, new."""
    if not Evidence.objects.filter(bench=bench, sha256=arrival.sha256).exists():
        require_room(bench=bench, name=name, bytes=arrival.size_bytes, files=1)
    stored_as = evidence_store.keep(arrival)
    facts = {"size_bytes": arrival.size_bytes, "stored_as": stored_as, "kept_by": by}
    return Evidence.objects.get_or_create(bench=bench, sha256=arrival.sha256, defaults=facts)[0]


def safe_name(name: str) -> str:
    """Return the file's own name, without folders and control characters, short enough to keep.

    >>> safe_name("C:\\\\logs\\\\yard 7.csv")
    'yard 7.csv'
    """
    last = UNPRINTABLE.sub("", FOLDERS.split(name)[-1]).strip(". ") or "file"
    suffix = "".join(PurePosixPath(last).suffixes[-2:])[-20:]
    return last if len(last) <= NAME_LENGTH else last[: NAME_LENGTH - len(suffix)] + suffix


def _free_name(name: str, taken: Collection[str]) -> str:
    stem, dot, suffix = name.partition(".")
    short = stem[: NAME_LENGTH - len(suffix) - 8]
    numbered = (f"{short} ({number}){dot}{suffix}" for number in range(2, len(taken) + 3))
    return name if name not in taken else next(other for other in numbered if other not in taken)


def remove(*, file: SessionFile, by: Person) -> None:
    """Take a file out of its session; its bytes stay for the results that were made from them."""
    file.delete()


# --- in parts ------------------------------------------------------------------------------------------


def begin(*, session: Session, name: str, size_bytes: int, by: Person) -> PartialUpload:
    """Begin a resumable upload, or return the one of the same name and size that broke off."""
    expire()
    evidence_store.refuse_size(size_bytes, name=name)
    name = safe_name(name)
    same = {"session": session, "name": name, "size_bytes": size_bytes, "started_by": by}
    if broken_off := PartialUpload.objects.filter(**same).first():
        return broken_off
    with transaction.atomic():
        require_room(bench=session.bench, name=name, bytes=size_bytes + on_the_way(session.bench), files=1)
        return PartialUpload.objects.create(**same)


@transaction.atomic
def receive(*, upload: PartialUpload, offset: int, part: File, by: Person) -> PartialUpload:
    """Take the next part; one that was received already is taken as read, one that skips ahead is refused.

    The row is locked, so that the same part sent twice at once is stored and counted once.
    """
    upload = PartialUpload.objects.select_for_update().get(pk=upload.pk)
    if offset < upload.received_bytes:
        return upload
    if offset > upload.received_bytes or offset + part.size > upload.size_bytes:
        raise InvalidSession(
            place=Place(upload.name),
            found=f"a part at byte {offset}",
            expected=f"the part at byte {upload.received_bytes}",
            remedy="Ask where the upload stands and go on from there.",
        )
    evidence_store.keep_part(upload.pk, offset, part)
    upload.received_bytes += part.size
    upload.save(update_fields=["received_bytes", "touched_at"])
    return upload


def finish(*, upload: PartialUpload, by: Person) -> Upload:
    """Join the parts, read and keep the file; an upload that ends here leaves no parts, kept or refused."""
    current = PartialUpload.objects.filter(pk=upload.pk).first()  # gone where another request ended it meanwhile
    received = min(current.received_bytes if current else 0, evidence_store.size_of_parts(upload.pk))
    if received != upload.size_bytes:
        raise InvalidSession(
            place=Place(upload.name),
            found=f"{received} bytes",
            expected=f"{upload.size_bytes} bytes",
            remedy="Go on with the upload; the rest is still missing.",
        )
    try:
        return keep_files(session=upload.session, files=[_Joined(upload)], by=by)
    finally:
        _forget(upload)


def expire(*, now: datetime | None = None) -> int:
    """Forget uploads that nobody went on with; return how many."""
    before = (now or datetime.now(UTC)) - PARTIAL_LIFETIME
    evidence_store.sweep(before=before)
    old = list(PartialUpload.objects.filter(touched_at__lt=before))
    for upload in old:
        _forget(upload)
    return len(old)


def _forget(upload: PartialUpload) -> None:
    """Forget the row first: an upload that lost some of its parts must not be gone on with."""
    pk = upload.pk
    upload.delete()
    evidence_store.forget_parts(pk)
