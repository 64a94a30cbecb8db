"""Exports as tasks: a bench whole, its points as a table, an edition with all that belongs to it.

What an export holds has a digest; where an earlier one of the bench has the same, its file is handed out again.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import IO, Any

from django.core.files import File
from django.core.files.storage import default_storage
from django_tasks import task

from reduction.run import Progress
from tests_app import tasks
from tests_app.actions import jobs
from tests_app.evidence_store import blocks_of
from tests_app.models import Job
from units.archive import write
from units.editions import export, feeds, raw, read
from units.editions.document import standing_alone
from units.models import Bench, Edition, Person

EXPORT = "export"
KEPT_FOR = timedelta(days=7)


def begin(*, bench: Bench, kind: str, edition: Edition | None = None, origin: str = "", by: Person) -> Job:
    """Ask for an export; one of the same that still waits or runs is returned instead of a second."""
    expire(bench=bench)
    detail = {"kind": kind, "edition": edition and str(edition.pk), "origin": origin}
    for job in Job.objects.filter(bench=bench, what=EXPORT, state__in=jobs.OPEN):
        if job.detail == detail and not jobs.is_lost(job):
            return job
    return tasks.queue(bench=bench, what=EXPORT, total_steps=tasks.STEPS, detail=detail, asked_by=by)


def expire(*, bench: Bench, now: datetime | None = None) -> int:
    """Forget exports that are old, and remove files that no export names any more; return how many files."""
    ours = Job.objects.filter(bench=bench, what=EXPORT)
    ours.filter(finished_at__lt=(now or datetime.now(UTC)) - KEPT_FOR).delete()
    if ours.filter(state=Job.State.RUNNING).exists():  # it may just have written one
        return 0
    named = {job.detail.get("stored_as") for job in ours}
    gone = [name for name in stored(bench) if name not in named]
    for name in gone:
        default_storage.delete(name)
    return len(gone)


def stored(bench: Bench) -> list[str]:
    """Return the name of every file of the bench's exports in the store."""
    folder = f"exports/{bench.pk}"
    try:
        return [f"{folder}/{name}" for name in default_storage.listdir(folder)[1]]
    except FileNotFoundError:
        return []


@task()
def run_export(job_id: str) -> None:
    """Make the export the job asks for."""
    tasks.perform(job_id, _made)


def _made(job: Job, progress: Progress) -> dict[str, Any]:
    with tempfile.TemporaryFile() as file:
        digest, name = KINDS[job.detail["kind"]](job, file, progress)
        facts = {"sha256": digest, "name": name}
        stored_as = _same(job, facts)
        if stored_as is None:
            file.seek(0)
            stored_as = default_storage.save(f"exports/{job.bench_id}/{job.pk}-{job.attempts}", File(file))
    return {"detail": job.detail | facts | {"stored_as": stored_as}}


def _same(job: Job, facts: dict[str, Any]) -> str | None:
    """Return where the file of an earlier export with the same content is kept, if any."""
    for other in Job.objects.filter(bench=job.bench, what=EXPORT, state=Job.State.DONE):
        if facts.items() <= other.detail.items() and default_storage.exists(other.detail["stored_as"]):
            return other.detail["stored_as"]
    return None


def _archive(job: Job, to: IO[bytes], progress: Progress) -> tuple[str, str]:
    return write.write(job.bench, to, progress), f"{job.bench.slug}.bench.zip"


def _points(job: Job, to: IO[bytes], progress: Progress) -> tuple[str, str]:
    progress("Writing the table", 0.1)
    table = write.points_table(job.bench)
    to.write(table)
    return hashlib.sha256(table).hexdigest(), f"{job.bench.slug}-points.csv"


def _edition(job: Job, to: IO[bytes], progress: Progress) -> tuple[str, str]:
    edition = Edition.objects.select_related("review").get(pk=job.detail["edition"], review__bench=job.bench)
    content = hashlib.sha256()
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as parts:
        for number, (name, data) in enumerate(_parts(edition, job.detail["origin"])):
            progress(f"Packing {name}", 1.0 - 0.8**number)
            parts.writestr(name, data)
            content.update(f"{hashlib.sha256(data).hexdigest()}  {name}\n".encode())
    return content.hexdigest(), f"{edition.review.slug}-edition-{edition.number}.zip"


def _parts(edition: Edition, origin: str) -> Iterator[tuple[str, bytes]]:
    data = read.parsed(edition)
    yield "edition.html", export.one_file(edition, origin).encode()
    yield "edition.json", edition.document.encode()
    yield "points.csv", feeds.table(data)
    for chart in data["charts"]:
        yield f"charts/{chart['name']}.svg", standing_alone(chart["svg"]).encode()
        yield f"charts/{chart['name']}.json", json.dumps(chart["spec"]).encode()
    for session in data["sessions"].values():
        if session.get("raw"):
            sha256 = session["raw"]["sha256"]
            yield f"raw/{sha256}.csv", b"".join(blocks_of(raw.stored_name(sha256)))


KINDS = {"archive": _archive, "points": _points, "edition": _edition}
