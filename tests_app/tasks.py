"""Long work as tasks: a job is queued for a person, a worker calls the action and reports."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from uuid import UUID

from django_tasks import task

from reduction.errors import ReductionError
from tests_app.actions import reduce
from tests_app.models import Job, Reduction, Session
from units.models import Person

log = logging.getLogger(__name__)

REDUCTION = "reduction"
STEPS = 100
LIFETIME = timedelta(minutes=30)
BROKE = "Something broke on our side. What you entered and uploaded is kept; try again, or tell who runs this site."


def queue_reduction(*, session: Session, by: Person) -> Job:
    """Ask for a session's reduction; a job for it that still waits or runs is returned instead of a second one."""
    alive = {"state__in": [Job.State.WAITING, Job.State.RUNNING], "asked_at__gt": datetime.now(UTC) - LIFETIME}
    waiting = session.jobs.filter(what=REDUCTION, **alive).first()
    if waiting is not None:
        return waiting
    job = Job.objects.create(bench=session.bench, session=session, what=REDUCTION, total_steps=STEPS, asked_by=by)
    run_reduction.enqueue(job_id=str(job.pk))
    job.refresh_from_db()
    return job


@task()
def run_reduction(job_id: str) -> None:
    """Reduce the job's session; how it went is read from the job."""
    job = Job.objects.select_related("session__bench", "session__unit", "session__room", "asked_by").get(
        pk=UUID(job_id)
    )

    def progress(stage: str, part: float) -> None:
        job.message, job.done_steps = stage, round(part * STEPS)
        job.save(update_fields=["message", "done_steps"])

    _start(job)
    _finish(job, lambda: reduce.run_and_store(session=job.session, by=job.asked_by, progress=progress))


def _start(job: Job) -> None:
    job.state = Job.State.RUNNING
    job.save(update_fields=["state"])


def _finish(job: Job, work: Callable[[], Reduction]) -> None:
    """Do the work and write how it ended; the person reads a sentence, the log has the trace."""
    try:
        job.reduction, job.state, job.message = work(), Job.State.DONE, "Done"
        job.done_steps = job.total_steps
    except ReductionError as error:
        job.state, job.message = Job.State.FAILED, str(error)
    except Exception:
        log.exception("Job %s broke", job.pk)
        job.state, job.message = Job.State.FAILED, BROKE
    job.finished_at = datetime.now(UTC)
    job.save()
