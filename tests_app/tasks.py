"""Long work as tasks: a job is queued for a person, a worker calls the action and reports."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django_tasks import task

from reduction.errors import ReductionError
from reduction.run import Progress
from tests_app.actions import jobs, reduce
from tests_app.models import Job, Reduction, Session
from units.models import Bench, Person
from units.problems import is_full

log = logging.getLogger(__name__)

REDUCTION = "reduction"
REREDUCTION = "rereduction"
STEPS = 100
LIFETIME = timedelta(minutes=30)
MOST_ATTEMPTS = 3
BROKE = "Something broke on our side. What you entered and uploaded is kept; try again, or tell who runs this site."
NO_ROOM = "This site has no room left. Nothing was half stored; tell who runs this site, and ask for it again later."
LOST = "The process that worked on this ended before it was done. Nothing was half stored; ask for it again."


def queue_reduction(*, session: Session, by: Person | None) -> Job:
    """Ask for a session's reduction; a job for it that still waits or runs is returned instead of a second one."""
    with transaction.atomic():
        Session.objects.select_for_update().get(pk=session.pk)
        alive = {"state__in": jobs.OPEN, "asked_at__gt": datetime.now(UTC) - LIFETIME}
        for waiting in session.jobs.filter(what=REDUCTION, **alive):
            if not jobs.is_lost(waiting):
                return waiting
        job = Job.objects.create(bench=session.bench, session=session, what=REDUCTION, total_steps=STEPS, asked_by=by)
        if jobs.is_queued():  # job and task are kept together or not at all
            hand_over(job)
    if not jobs.is_queued():
        hand_over(job)
    job.refresh_from_db()
    return job


def queue(**facts: object) -> Job:
    """Make a job with its task, and return it as it then stands; where there is no queue, the work is done by now."""
    with transaction.atomic():
        job = Job.objects.create(**facts)
        if jobs.is_queued():  # job and task are kept together or not at all
            hand_over(job)
    if not jobs.is_queued():
        hand_over(job)
    job.refresh_from_db()
    return job


def recover(*, now: datetime | None = None) -> list[Job]:
    """Hand lost jobs over again; one that was lost too often, or has no queue to go back to, fails with a sentence."""
    recovered = []
    for job in jobs.lost(now=now):
        as_it_was = Job.objects.filter(pk=job.pk, state=job.state, heard_at=job.heard_at)
        with transaction.atomic():
            if job.attempts < MOST_ATTEMPTS and jobs.is_queued():
                if as_it_was.update(state=Job.State.WAITING, done_steps=0, message="", heard_at=datetime.now(UTC)):
                    hand_over(job)
                    recovered.append(job)
            elif as_it_was.update(state=Job.State.FAILED, message=LOST, finished_at=datetime.now(UTC)):
                recovered.append(job)
    if recovered:
        log.warning("Recovered %d jobs whose worker fell silent", len(recovered))
    return recovered


def hand_over(job: Job) -> None:
    """Queue the job's task, or where there is no queue do it now."""
    result = TASKS[job.what].enqueue(job_id=str(job.pk))
    Job.objects.filter(pk=job.pk).update(task_id=str(result.id))


@task()
def run_reduction(job_id: str) -> None:
    """Reduce the job's session; how it went is read from the job. A task that runs twice finds nothing to take up."""

    def work(job: Job, progress: Progress) -> dict[str, object]:
        return {"reduction": reduce.run_and_store(session=job.session, by=job.asked_by, progress=progress)}

    perform(job_id, work)


def perform(job_id: str, work: Callable[[Job, Progress], dict[str, object]]) -> None:
    """Take the job up, do its work and write how it ended; the person reads a sentence, the log has the trace."""
    asked = Job.objects.select_related("asked_by").filter(pk=UUID(job_id)).first()
    job = jobs.take_up(job=asked, by=asked.asked_by) if asked else None
    if job is None:
        return

    def progress(stage: str, part: float) -> None:
        jobs.report(job=job, message=stage, done_steps=round(part * STEPS), by=job.asked_by)

    try:
        with jobs.heartbeat(job):
            made = work(job, progress)
        ended = made | {"state": Job.State.DONE, "message": "Done", "done_steps": STEPS}
    except jobs.Superseded:
        return
    except ReductionError as error:
        ended = {"state": Job.State.FAILED, "message": str(error)}
    except Exception as error:
        log.exception("Job %s broke", job.pk)
        ended = {"state": Job.State.FAILED, "message": NO_ROOM if is_full(error) else BROKE}
    jobs.end(job=job, by=job.asked_by, **ended)


# --- many sessions as one task ------------------------------------------------------------------------------


def queue_rereduction(*, bench: Bench, sessions: list[Session], by: Person) -> Job:
    """Ask for sessions of a bench to be reduced again, one after the other; the job's detail says what came of each."""
    detail = {"sessions": [str(session.pk) for session in sessions], "outcomes": []}
    return queue(bench=bench, what=REREDUCTION, total_steps=len(sessions), detail=detail, asked_by=by)


@task()
def run_rereduction(job_id: str) -> None:
    """Reduce the job's sessions again, those that an earlier attempt left; one that fails leaves the others alone."""
    asked = Job.objects.select_related("asked_by").filter(pk=UUID(job_id)).first()
    job = jobs.take_up(job=asked, by=asked.asked_by) if asked else None
    if job is None:
        return
    sessions = Session.objects.filter(bench=job.bench).in_bulk([UUID(key) for key in left_of(job)])
    try:
        with jobs.heartbeat(job):
            for session in sessions.values():
                number = len(job.detail["outcomes"])
                jobs.report(job=job, message=session.name, done_steps=number, by=asked.asked_by)
                job.detail["outcomes"].append(_reduced_again(session, asked.asked_by))
                Job.objects.filter(pk=job.pk, attempts=job.attempts).update(detail=job.detail)
    except jobs.Superseded:
        return
    jobs.end(job=job, by=asked.asked_by, state=Job.State.DONE, message="Done", done_steps=job.total_steps)


def left_of(job: Job) -> list[str]:
    """Return the keys of the job's sessions that no attempt came to yet."""
    done = {outcome["session"] for outcome in job.detail["outcomes"]}
    return [key for key in job.detail.get("sessions", []) if key not in done]


def _reduced_again(session: Session, by: Person | None) -> dict[str, str | None]:
    before = reduce.standing_reduction(session)
    outcome: dict[str, str | None] = {"session": str(session.pk), "before": _key(before), "after": None, "error": None}
    try:
        outcome["after"] = _key(reduce.run_and_store(session=session, by=by))
    except ReductionError as error:
        outcome["error"] = str(error)
    except Exception as error:
        log.exception("Session %s broke when it was reduced again", session.pk)
        outcome["error"] = NO_ROOM if is_full(error) else BROKE
    return outcome


def _key(reduction: Reduction | None) -> str | None:
    return None if reduction is None else str(reduction.pk)


TASKS = {REDUCTION: run_reduction, REREDUCTION: run_rereduction}
