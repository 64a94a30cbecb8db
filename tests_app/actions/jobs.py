"""What becomes of a job: taken up, heard of, cancelled, found lost. Each step is one update that others can lose."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from threading import Event, Thread

from django.conf import settings
from django.db import OperationalError, connection
from django.db.models import F, QuerySet
from django_tasks import TaskResultStatus, default_task_backend
from django_tasks.exceptions import TaskResultDoesNotExist

from tests_app.models import Job
from units.models import Person

OPEN = (Job.State.WAITING, Job.State.RUNNING)
BEATS = 4  # within the silence after which a worker counts as dead
CANCELLED = "Cancelled; nothing was stored."


class Superseded(Exception):
    """The job was cancelled, or another worker took it up since; what this one does is not wanted."""


def is_queued() -> bool:
    """Say whether tasks wait in a queue for workers; otherwise they are done where they are asked for."""
    return default_task_backend.supports_get_result


def take_up(*, job: Job, by: Person | None) -> Job | None:
    """Take up a waiting job and return it as it stands now, or None where it waits no longer."""
    waiting = Job.objects.filter(pk=job.pk, state=Job.State.WAITING)
    taken = waiting.update(state=Job.State.RUNNING, attempts=F("attempts") + 1, heard_at=datetime.now(UTC))
    return Job.objects.get(pk=job.pk) if taken else None


def report(*, job: Job, message: str, done_steps: int, by: Person | None) -> None:
    """Say how far this attempt is; raise Superseded where nobody waits for it any more."""
    facts = {"message": message, "done_steps": done_steps, "heard_at": datetime.now(UTC)}
    if not _attempt(job).update(**facts):
        raise Superseded


def end(*, job: Job, by: Person | None, **facts: object) -> bool:
    """Write how this attempt ended; say whether anybody waited for it."""
    return bool(_attempt(job).update(finished_at=datetime.now(UTC), **facts))


def cancel(*, job: Job, by: Person) -> bool:
    """Stop a job that waits or runs; one that has ended stays as it ended."""
    facts = {"state": Job.State.CANCELLED, "message": CANCELLED, "finished_at": datetime.now(UTC)}
    return bool(Job.objects.filter(pk=job.pk, state__in=OPEN).update(**facts))


def is_lost(job: Job, *, now: datetime | None = None) -> bool:
    """Say whether an open job has nobody who works on it or will: its worker fell silent, or its task is gone.

    One last heard of in the future is silent too, for the clock stepped back: who lives says so again within seconds.
    """
    silent = abs((now or datetime.now(UTC)) - job.heard_at) > timedelta(seconds=settings.JOB_SILENT_S)
    if job.state == Job.State.WAITING and is_queued():
        return silent and _status_of_task(job) != TaskResultStatus.READY  # taking up is the first thing a task does
    return silent


def lost(*, now: datetime | None = None) -> list[Job]:
    """Return every open job that is lost."""
    return [job for job in Job.objects.filter(state__in=OPEN).order_by("asked_at") if is_lost(job, now=now)]


@contextmanager
def heartbeat(job: Job) -> Iterator[None]:
    """Keep saying that somebody works on the job, however long one step of it takes."""
    is_over = Event()

    def beat() -> None:
        while not is_over.wait(settings.JOB_SILENT_S / BEATS):
            with suppress(OperationalError):  # SQLite is held by a long write, maybe this job's: said again at the next
                _attempt(job).update(heard_at=datetime.now(UTC))
        connection.close()

    thread = Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()


def _attempt(job: Job) -> QuerySet[Job]:
    return Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, attempts=job.attempts)


def _status_of_task(job: Job) -> str | None:
    try:
        return default_task_backend.get_result(job.task_id).status
    except TaskResultDoesNotExist:
        return None
