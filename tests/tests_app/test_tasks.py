"""Long work: queued once, reported, its failure a sentence."""

from __future__ import annotations

import errno
import sqlite3
import time
from datetime import UTC, datetime, timedelta

import psycopg
import pytest
from django.core.management import call_command
from django.db import OperationalError
from django.test import Client
from django.urls import reverse
from django_tasks_db.models import DBTaskResult

from tests_app import tasks
from tests_app.actions import jobs, reduce
from tests_app.models import Job, Reduction, Session
from units.problems import is_full

pytestmark = pytest.mark.django_db


def test_a_job_ends_with_its_reduction(confirmed_session: Session, tester: Client) -> None:
    job = tasks.queue_reduction(session=confirmed_session, by=tester.person)
    assert (job.state, job.reduction) == (Job.State.DONE, Reduction.objects.get())
    assert job.reduction.reduced_by == tester.person
    assert job.finished_at is not None


def test_bad_input_ends_as_a_sentence_on_the_progress_page(session: Session, tester: Client, monkeypatch) -> None:
    Session.objects.update(room=None)
    progress = tester.post(reverse("reduce", args=[session.pk]))
    page = tester.get(progress.url).content.decode()
    assert "Choose or describe the room under Facts" in page
    assert not Reduction.objects.exists()


def test_what_breaks_is_logged_and_the_person_reads_no_trace(
    confirmed_session: Session, tester: Client, monkeypatch, caplog
) -> None:
    def broken(**_: object) -> None:
        raise RuntimeError("secret detail")

    monkeypatch.setattr(reduce, "run_and_store", broken)
    job = tasks.queue_reduction(session=confirmed_session, by=tester.person)
    assert (job.state, job.message) == (Job.State.FAILED, tasks.BROKE)
    assert "secret detail" in caplog.text


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), OSError(errno.EDQUOT, "Quota")])
def test_a_full_disk_is_said_as_such(confirmed_session: Session, tester: Client, monkeypatch, error) -> None:
    def full(**_: object) -> None:
        raise error

    monkeypatch.setattr(reduce, "run_and_store", full)
    job = tasks.queue_reduction(session=confirmed_session, by=tester.person)
    assert (job.state, job.message) == (Job.State.FAILED, tasks.NO_ROOM)


def test_a_full_disk_of_a_database_is_known_by_its_code() -> None:
    postgresql, sqlite = psycopg.errors.DiskFull(), sqlite3.OperationalError("database or disk is full")
    sqlite.sqlite_errorname = "SQLITE_FULL"
    other = psycopg.errors.AdminShutdown()
    found = []
    for cause in (postgresql, sqlite, other):
        error = OperationalError("it failed")
        error.__cause__ = cause
        found.append(is_full(error))
    assert found == [True, True, False]


def test_work_that_waits_is_not_queued_twice(session: Session, tester: Client) -> None:
    waiting = Job.objects.create(bench=session.bench, session=session, what=tasks.REDUCTION)
    assert tasks.queue_reduction(session=session, by=tester.person) == waiting


def test_work_whose_worker_died_does_not_block_for_ever(confirmed_session: Session, tester: Client) -> None:
    dead = Job.objects.create(bench=confirmed_session.bench, session=confirmed_session, what=tasks.REDUCTION)
    long_ago = datetime.now(UTC) - tasks.LIFETIME - timedelta(minutes=1)
    Job.objects.update(asked_at=long_ago, heard_at=long_ago)
    assert tasks.queue_reduction(session=confirmed_session, by=tester.person).pk != dead.pk


def test_progress_is_shown_while_it_runs_and_leads_to_the_result(session: Session, tester: Client) -> None:
    job = Job.objects.create(
        bench=session.bench, session=session, what="reduction", state="running", total_steps=100, done_steps=40
    )
    running = tester.get(reverse("job", args=[job.pk])).content.decode()
    assert 'value="40"' in running
    assert 'hx-trigger="every 1s"' in running
    Job.objects.update(state="done")
    done = tester.get(reverse("job", args=[job.pk]), headers={"HX-Request": "true"})
    assert done.headers["HX-Redirect"] == reverse("result", args=[session.pk])


LATER = timedelta(hours=1)
# A worker closes its connection when it ends, which the one transaction of an ordinary test would not survive.
BY_A_WORKER = pytest.mark.django_db(transaction=True)


@pytest.fixture
def queue(settings) -> None:
    """Let tasks wait in the database for a worker."""
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


def work() -> None:
    """Do what waits, as a worker does, and return."""
    call_command("db_worker", batch=True, interval=0, startup_delay=False, verbosity=0)


@pytest.fixture
def waiting(queue: None, confirmed_session: Session, tester: Client) -> Job:
    return tasks.queue_reduction(session=confirmed_session, by=tester.person)


@BY_A_WORKER
def test_a_queued_job_waits_for_a_worker_and_is_done_by_it(waiting: Job) -> None:
    assert waiting.state == Job.State.WAITING
    work()
    waiting.refresh_from_db()
    assert (waiting.state, waiting.reduction, waiting.attempts) == (Job.State.DONE, Reduction.objects.get(), 1)


@BY_A_WORKER
def test_a_task_that_runs_twice_makes_one_result(waiting: Job) -> None:
    work()
    tasks.run_reduction.call(job_id=str(waiting.pk))
    waiting.refresh_from_db()
    assert (waiting.attempts, Reduction.objects.count()) == (1, 1)


def killed_in(job: Job, monkeypatch, stage: float) -> None:
    """Take the job up and end as a process that is killed: nothing after this instant is written."""

    class Killed(BaseException):
        pass

    report = jobs.report

    def until_killed(**facts) -> None:
        report(**facts)
        if facts["done_steps"] >= stage * tasks.STEPS:
            raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(jobs, "report", until_killed)
        with pytest.raises(Killed):
            tasks.run_reduction.call(job_id=str(job.pk))


@BY_A_WORKER
def test_a_job_whose_worker_was_killed_is_handed_over_and_stored_once(waiting: Job, monkeypatch) -> None:
    killed_in(waiting, monkeypatch, 0.3)
    assert Job.objects.get().state == Job.State.RUNNING
    assert tasks.recover() == []  # not silent for long enough
    assert tasks.recover(now=datetime.now(UTC) + LATER) == [waiting]
    work()
    job = Job.objects.get()
    assert (job.state, job.attempts, Reduction.objects.count()) == (Job.State.DONE, 2, 1)


@BY_A_WORKER
def test_a_job_heard_of_in_the_future_is_handed_over_for_the_clock_stepped_back(waiting: Job, monkeypatch) -> None:
    killed_in(waiting, monkeypatch, 0.3)
    assert tasks.recover(now=datetime.now(UTC) - LATER) == [waiting]
    work()
    assert (Job.objects.get().state, Reduction.objects.count()) == (Job.State.DONE, 1)


@BY_A_WORKER
def test_a_job_that_kills_its_workers_fails_with_a_sentence(waiting: Job, monkeypatch) -> None:
    for _ in range(tasks.MOST_ATTEMPTS):
        killed_in(waiting, monkeypatch, 0.0)
        tasks.recover(now=datetime.now(UTC) + LATER)
    job = Job.objects.get()
    assert (job.state, job.message, Reduction.objects.count()) == (Job.State.FAILED, tasks.LOST, 0)


@BY_A_WORKER
def test_a_slow_worker_that_was_given_up_does_not_speak_for_the_job(waiting: Job, monkeypatch) -> None:
    slow = jobs.take_up(job=waiting, by=None)
    tasks.recover(now=datetime.now(UTC) + LATER)
    with pytest.raises(jobs.Superseded):
        jobs.report(job=slow, message="late", done_steps=99, by=None)
    assert not jobs.end(job=slow, by=None, state=Job.State.FAILED)
    work()
    assert Job.objects.get().state == Job.State.DONE


@BY_A_WORKER
def test_a_waiting_job_is_not_lost_however_long_the_queue_is(waiting: Job) -> None:
    assert tasks.recover(now=datetime.now(UTC) + LATER) == []


@BY_A_WORKER
def test_a_job_whose_worker_died_between_its_task_and_itself_is_handed_over(waiting: Job) -> None:
    DBTaskResult.objects.update(status="RUNNING")  # claimed, and the database went away before the job was taken up
    assert tasks.recover(now=datetime.now(UTC) + LATER) == [waiting]
    work()
    waiting.refresh_from_db()
    assert waiting.state == Job.State.DONE


@BY_A_WORKER
def test_a_cancelled_job_stores_nothing_and_can_be_asked_for_again(waiting: Job, tester: Client) -> None:
    page = tester.post(reverse("job-cancel", args=[waiting.pk]), follow=True).content.decode()
    assert "Cancelled; nothing was stored." in page
    assert "Try again" in page
    work()
    assert (Job.objects.get().state, Reduction.objects.count()) == (Job.State.CANCELLED, 0)
    again = tester.post(reverse("reduce", args=[waiting.session_id]))
    work()
    (done,) = Job.objects.exclude(pk=waiting.pk)
    assert done.state == Job.State.DONE
    assert again.url == reverse("job", args=[done.pk])


@BY_A_WORKER
def test_a_job_cancelled_while_it_runs_stops_at_its_next_step(waiting: Job, tester: Client, monkeypatch) -> None:
    report = jobs.report

    def cancelled_half_way(**facts) -> None:
        if facts["done_steps"] >= 50:
            jobs.cancel(job=waiting, by=tester.person)
        report(**facts)

    monkeypatch.setattr(jobs, "report", cancelled_half_way)
    work()
    assert (Job.objects.get().state, Reduction.objects.count()) == (Job.State.CANCELLED, 0)


@BY_A_WORKER
def test_a_job_whose_own_process_ended_is_told_so_when_it_is_looked_at(session: Session, tester: Client) -> None:
    job = Job.objects.create(bench=session.bench, session=session, what=tasks.REDUCTION, state=Job.State.RUNNING)
    Job.objects.update(heard_at=datetime.now(UTC) - LATER)
    assert tasks.LOST in tester.get(reverse("job", args=[job.pk])).content.decode()


def test_a_database_that_is_held_for_a_while_does_not_silence_who_works(settings, monkeypatch) -> None:
    settings.JOB_SILENT_S = 0.04
    said = []

    def held(job: Job) -> None:
        said.append(job)
        raise OperationalError("database is locked")

    monkeypatch.setattr(jobs, "_attempt", held)
    with jobs.heartbeat(Job()):
        deadline = time.monotonic() + 20
        while len(said) < 3 and time.monotonic() < deadline:
            time.sleep(0.01)
    assert len(said) >= 3
