"""Files come in: whole or in parts, read before they are kept, kept byte for byte."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import PurePosixPath
from typing import Protocol
from uuid import UUID

from django.core.files import File
from django.db import transaction

from reduction.errors import InvalidSession, Place, ReductionError
from reduction.readers import read_logs
from tests_app import evidence_store
from tests_app.actions import mapping
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

    def chunks(self, chunk_size: int) -> Iterable[bytes]:
        """Yield its bytes."""


class _Joined:
    """The parts of a resumable upload as one file."""

    def __init__(self, upload: PartialUpload) -> None:
        self.name, self.upload_id = upload.name, upload.pk

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
    fresh: dict[UUID, mapping.Logs] = {}
    for file in files:
        try:
            row, logs = _keep(session, safe_name(file.name), file.chunks(evidence_store.BLOCK), by)
        except ReductionError as error:
            upload.refused.append(error)
        else:
            (upload.kept if logs else upload.known).append(row)
            fresh |= {row.pk: logs} if logs else {}
    if fresh:
        rows = mapping.keep_readings(session=session, fresh=fresh, by=by)
        upload.kept = [rows[row.pk] for row in upload.kept]
    return upload


def _keep(session: Session, name: str, blocks: Iterable[bytes], by: Person) -> tuple[SessionFile, mapping.Logs]:
    """Read one file, then keep it; the same bytes twice are one, and then there are no new logs."""
    with evidence_store.arriving(blocks, name=name) as arrival:
        known = session.files.filter(evidence__sha256=arrival.sha256).first()
        if known is not None:
            return known, ()
        logs = read_logs(arrival.path, name=name, time_zone=session.time_zone)
        with transaction.atomic():
            evidence = keep_evidence(bench=session.bench, arrival=arrival, by=by)
            file = SessionFile.objects.create(session=session, evidence=evidence, name=_free_name(session, name))
    return file, logs


def keep_evidence(*, bench: Bench, arrival: Arrival, by: Person) -> Evidence:
    """Return the bench's row for these bytes, new or there already."""
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


def _free_name(session: Session, name: str) -> str:
    taken = set(session.files.values_list("name", flat=True))
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
    return PartialUpload.objects.filter(**same).first() or PartialUpload.objects.create(**same)


def receive(*, upload: PartialUpload, offset: int, part: File, by: Person) -> PartialUpload:
    """Take the next part; one that was received already is taken as read, one that skips ahead is refused."""
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
    if upload.received_bytes != upload.size_bytes:
        raise InvalidSession(
            place=Place(upload.name),
            found=f"{upload.received_bytes} bytes",
            expected=f"{upload.size_bytes} bytes",
            remedy="Go on with the upload; the rest is still missing.",
        )
    try:
        return keep_files(session=upload.session, files=[_Joined(upload)], by=by)
    finally:
        _forget(upload)


def expire(*, now: datetime | None = None) -> int:
    """Forget uploads that nobody went on with; return how many."""
    old = list(PartialUpload.objects.filter(touched_at__lt=(now or datetime.now(UTC)) - PARTIAL_LIFETIME))
    for upload in old:
        _forget(upload)
    return len(old)


def _forget(upload: PartialUpload) -> None:
    evidence_store.forget_parts(upload.pk)
    upload.delete()
