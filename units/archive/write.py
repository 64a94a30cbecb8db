"""A bench into one zip: rows as JSON lines, evidence byte for byte, a derived table, checksums, and how to read it."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from typing import IO, Any

from django.core.files.storage import default_storage

from reduction.method import METHOD_VERSION
from tests_app.evidence_store import blocks_of
from tests_app.models import Evidence, Point
from units.archive.about import README
from units.archive.rows import AnyRow, Numbers, canonical, of_bench, travelling, written
from units.archive.versions import FORMAT
from units.editions import raw
from units.models import Bench, CalibrationRecord, Edition, Membership, Person
from units.spreadsheet import harmless

TABLE = (
    "session", "unit", "label", "start", "end", "usable", "room_temp_c", "room_wet_bulb_c", "outdoor_temp_c",
    "capacity_w", "capacity_u95_w", "capacity_kind", "power_w", "power_u95_w", "eer_btu_per_wh", "eer_u95", "cop",
    "cop_u95", "limit", "method_version", "stands",
)  # fmt: skip


class _Zip:
    """A zip that remembers the SHA-256 of every member."""

    def __init__(self, to: IO[bytes]) -> None:
        self._zip = zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED)
        self.sums: dict[str, str] = {}

    def add(self, name: str, blocks: Iterable[bytes]) -> None:
        digest = hashlib.sha256()
        with self._zip.open(name, "w", force_zip64=True) as member:
            for block in blocks:
                digest.update(block)
                member.write(block)
        self.sums[name] = digest.hexdigest()

    def close(self) -> None:
        self._zip.close()


def write(bench: Bench, to: IO[bytes], progress: Callable[[str, float], None] = lambda stage, part: None) -> str:
    """Write the bench's archive and return its content digest: equal content, equal digest, on any database."""
    with closing(_Zip(to)) as archive:
        return _written_into(archive, bench, progress)


def _written_into(archive: _Zip, bench: Bench, progress: Callable[[str, float], None]) -> str:
    content, counts = hashlib.sha256(), {}
    numbers, people = Numbers(bench), dict(Person.objects.values_list("pk", "username"))
    kinds, files = travelling(), sorted(_files(bench))
    steps = len(kinds) + len(files) + 1
    for step, model in enumerate(kinds):
        progress("Writing rows", step / steps)
        name = f"rows/{model.__name__}.jsonl"
        rows = [written(row, numbers, people) for row in of_bench(model, bench).iterator(chunk_size=500)]
        counts[model.__name__] = len(rows)
        content.update(heading(model.__name__))
        for row in rows:
            content.update(line(canonical(row)))
        archive.add(name, (line(row) for row in rows))
    for step, (name, stored_as) in enumerate(files, start=len(kinds)):
        progress("Copying files", step / steps)
        archive.add(name, blocks_of(stored_as))
        content.update(of_file(name, archive.sums[name]))
    _add_what_explains(archive, bench, {"rows": counts, "content_sha256": content.hexdigest()})
    return content.hexdigest()


def _add_what_explains(archive: _Zip, bench: Bench, listed: dict[str, Any]) -> None:
    archive.add("people.jsonl", (line(row) for row in _people(bench)))
    archive.add("points.csv", [points_table(bench)])
    archive.add("README.md", [README.encode()])
    manifest = {
        "format": FORMAT,
        "bench": bench.name,
        "exported_at": datetime.now(UTC).isoformat(),
        "method_version": METHOD_VERSION,
    }
    archive.add("manifest.json", [json.dumps(manifest | listed, indent=2, ensure_ascii=False).encode()])
    archive.add("SHA256SUMS", [f"{value}  {name}\n".encode() for name, value in archive.sums.items()])


def heading(kind: str) -> bytes:
    """Return what stands before a kind's rows in the content that is hashed."""
    return f"rows/{kind}.jsonl\n".encode()


def line(row: AnyRow) -> bytes:
    """Return a row as one line."""
    return json.dumps(row, ensure_ascii=False, sort_keys=True).encode() + b"\n"


def of_file(name: str, sha256: str) -> bytes:
    """Return what stands for a file in the content that is hashed."""
    return f"{sha256}  {name}\n".encode()


def _files(bench: Bench) -> Iterator[tuple[str, str]]:
    """Yield each stored file's name in the archive and in the store."""
    for sha256, stored_as in Evidence.objects.filter(bench=bench).values_list("sha256", "stored_as"):
        yield f"evidence/{sha256}", stored_as
    for record in CalibrationRecord.objects.filter(instrument__bench=bench).exclude(certificate=""):
        yield record.certificate.name, record.certificate.name
    published = set()
    for document in Edition.objects.filter(review__bench=bench).values_list("document", flat=True):
        sessions = json.loads(document).get("sessions") or {}
        published |= {session["raw"]["sha256"] for session in sessions.values() if session.get("raw")}
    for sha256 in published:
        if default_storage.exists(raw.stored_name(sha256)):
            yield raw.stored_name(sha256), raw.stored_name(sha256)


def _people(bench: Bench) -> list[dict[str, Any]]:
    members = Membership.objects.filter(bench=bench).select_related("person").order_by("person__username")
    return [{"username": each.person.username, "role": each.role} for each in members]


def points_table(bench: Bench) -> bytes:
    """Return all reduced points as a table for a spreadsheet: derived, not read back."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(TABLE)
    rows = Point.objects.filter(reduction__session__bench=bench).select_related("reduction__session", "unit")
    for point in rows.order_by("start", "pk").defer("detail", "reduction__document", "reduction__result"):
        own = {
            "session": point.reduction.session.name,
            "unit": str(point.unit or ""),
            "start": point.start.astimezone(UTC).isoformat(),
            "end": point.end.astimezone(UTC).isoformat(),
            "method_version": point.reduction.method_version,
            "stands": not hasattr(point.reduction, "superseded_by"),
        }
        table.writerow([harmless(own[name] if name in own else getattr(point, name)) for name in TABLE])
    return text.getvalue().encode()
