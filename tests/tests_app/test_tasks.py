"""Long work: queued once, reported, its failure a sentence."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from tests_app import tasks
from tests_app.actions import reduce
from tests_app.models import Job, Reduction, Session

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


def test_work_that_waits_is_not_queued_twice(session: Session, tester: Client) -> None:
    waiting = Job.objects.create(bench=session.bench, session=session, what=tasks.REDUCTION)
    assert tasks.queue_reduction(session=session, by=tester.person) == waiting


def test_work_whose_worker_died_does_not_block_for_ever(confirmed_session: Session, tester: Client) -> None:
    dead = Job.objects.create(bench=confirmed_session.bench, session=confirmed_session, what=tasks.REDUCTION)
    Job.objects.update(asked_at=datetime.now(UTC) - tasks.LIFETIME - timedelta(minutes=1))
    assert tasks.queue_reduction(session=confirmed_session, by=tester.person).pk != dead.pk


def test_progress_is_shown_while_it_runs_and_leads_to_the_result(session: Session, tester: Client) -> None:
    job = Job.objects.create(
        bench=session.bench, session=session, what="reduction", state="running", total_steps=100, done_steps=40
    )
    running = tester.get(reverse("job", args=[job.pk])).content.decode()
    assert 'value="40"' in running
    assert 'hx-trigger="load delay:1s"' in running
    Job.objects.update(state="done")
    done = tester.get(reverse("job", args=[job.pk]), headers={"HX-Request": "true"})
    assert done.headers["HX-Redirect"] == reverse("result", args=[session.pk])
