"""A bench comes in: its archive is kept, looked at as one task, and after a person's word brought in as another."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import Any

from django.conf import settings
from django.core.files import File
from django.core.files.storage import default_storage
from django.db.models import QuerySet
from django_tasks import task

from reduction.errors import Place, ReductionError, UnreadableFile
from reduction.run import Progress
from tests_app import evidence_store, tasks
from tests_app.actions import jobs, quotas
from tests_app.actions.upload import safe_name
from tests_app.models import Job
from units.actions import ledger
from units.archive import look, read
from units.models import Bench, Person

LOOK, ARRIVAL = "look", "arrival"
LIFETIME = timedelta(hours=24)
MOST_FAULTS = 3


def begin(*, file: File, by: Person) -> Job:
    """Keep an uploaded archive and ask for it to be looked at; one that the person left lying before goes."""
    name = safe_name(file.name)
    if file.size > settings.MAX_UPLOAD_BYTES:
        raise UnreadableFile(
            place=Place(name),
            found=f"more than {settings.MAX_UPLOAD_BYTES >> 20} MB",
            expected="an archive that a page can take",
            remedy="Who runs this site can bring it in: `python manage.py import_bench FILE --owner USER`.",
        )
    expire()
    for earlier in _looks().filter(asked_by=by):
        drop(job=earlier, by=by)
    stored_as = default_storage.save(f"arrivals/{by.pk}.bench.zip", file)
    detail = {"name": name, "size": file.size, "stored_as": stored_as}
    return tasks.queue(bench=None, what=LOOK, total_steps=tasks.STEPS, detail=detail, asked_by=by)


def bring_in(*, job: Job, known_as: str = "", by: Person) -> Job:
    """Ask for a looked-at archive to be brought in; asked twice, the work that is under way is returned.

    `known_as` is the name by which the archive knows the person who asks, if it does.
    """
    for other in Job.objects.filter(what=ARRIVAL, asked_by=by, state__in=jobs.OPEN):
        if other.detail["stored_as"] == job.detail["stored_as"] and not jobs.is_lost(other):
            return other
    detail = {key: job.detail[key] for key in ("name", "size", "stored_as")} | {
        "known_as": known_as,
        "look": str(job.pk),
    }
    return tasks.queue(bench=None, what=ARRIVAL, total_steps=tasks.STEPS, detail=detail, asked_by=by)


def drop(*, job: Job, by: Person | None) -> None:
    """Throw a looked-at archive away, unless it is just being brought in."""
    stored_as = job.detail["stored_as"]
    if stored_as in _in_use():
        return
    job.delete()
    default_storage.delete(stored_as)


def expire(*, now: datetime | None = None) -> int:
    """Forget archives that nobody brought in for a day, with their files; return how many."""
    before = (now or datetime.now(UTC)) - LIFETIME
    Job.objects.filter(what=ARRIVAL, bench=None, finished_at__lt=before).delete()
    old = list(_looks().filter(asked_at__lt=before))
    for job in old:
        drop(job=job, by=None)
    return len(old)


def _looks() -> QuerySet[Job]:
    return Job.objects.filter(what=LOOK)


def _in_use() -> set[str]:
    alive = Job.objects.filter(what=ARRIVAL, state__in=jobs.OPEN)
    return {job.detail["stored_as"] for job in alive if not jobs.is_lost(job)}


@task()
def run_look(job_id: str) -> None:
    """Look at the archive; what it holds stands in the job. One that is refused is not kept."""
    tasks.perform(job_id, _looked)


def _looked(job: Job, progress: Progress) -> dict[str, Any]:
    detail = job.detail
    try:
        with evidence_store.local_path(detail["stored_as"]) as path:
            found = look.look(path, name=detail["name"], progress=progress)
        over = _over_quota(found)
    except ReductionError:
        default_storage.delete(detail["stored_as"])
        raise
    slug = read.free_slug(found.slug)
    holds = found.as_data() | {"clashes": [*found.clashes, *over], "slug_here": slug}
    return {"detail": detail | {"holds": holds}}


def _over_quota(found: look.Look) -> list[str]:
    """Say what of it is more than one bench may hold here."""
    held = {
        "bytes": quotas.Quota("bytes", found.file_bytes, settings.BENCH_MOST_BYTES),
        "files": quotas.Quota("files", found.files, settings.BENCH_MOST_FILES),
        "sessions": quotas.Quota("sessions", found.counts.get("Session", 0), settings.BENCH_MOST_SESSIONS),
    }
    return [f"It is more than one bench may hold here: {each}." for each in held.values() if each.used > each.most]


@task()
def run_arrival(job_id: str) -> None:
    """Bring the bench in; its owner is who asked."""
    tasks.perform(job_id, _arrived)


def _arrived(job: Job, progress: Progress) -> dict[str, Any]:
    detail, person = job.detail, job.asked_by
    known = {detail["known_as"]: person} if detail["known_as"] else {}

    def settle(bench: Bench, found: look.Look) -> None:
        """Look at the ledger of what came in, and end the task together with it: both are kept, or neither."""
        _refuse_faults(detail["name"], [*_over_quota(found), *ledger.faults_of(bench)])
        if not jobs.end(job=job, by=person, bench=bench, **ended(found)):
            raise jobs.Superseded

    def ended(found: look.Look) -> dict[str, Any]:
        facts = {"state": Job.State.DONE, "message": "Done", "done_steps": tasks.STEPS}
        return facts | {"detail": detail | {"holds": found.as_data()}}

    with evidence_store.local_path(detail["stored_as"]) as path:
        read.read(path, owner=person, name=detail["name"], known=known, progress=progress, settle=settle)
    default_storage.delete(detail["stored_as"])
    Job.objects.filter(pk=detail["look"]).delete()
    return {}


def _refuse_faults(name: str, faults: Iterable[str]) -> None:
    some = list(islice(faults, MOST_FAULTS))
    if some:
        raise UnreadableFile(
            place=Place(name),
            found="; ".join(some),
            expected="a ledger in which everything holds",
            remedy="Run `python manage.py check_ledger` where it comes from; nothing was brought in.",
        )
