"""Exports as tasks: made by a worker, once for the same content, handed out to who might ask for them."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from tests import builders, publishing
from tests_app import tasks
from tests_app.actions import jobs
from tests_app.models import Job
from units.actions import benches, exports
from units.archive import read
from units.models import Bench, Edition

pytestmark = pytest.mark.django_db
BY_A_WORKER = pytest.mark.django_db(transaction=True)


def asked(client: Client, kind: str, **facts: object) -> Job:
    """Ask for an export as a person does, and return its job."""
    answer = client.post(reverse("export-begin"), {"kind": kind, **facts})
    assert answer.status_code == 302, answer.status_code
    return Job.objects.get(pk=answer.url.rstrip("/").rpartition("/")[2])


def handed_out(client: Client, job: Job) -> bytes:
    answer = client.get(reverse("export-file", args=[job.pk]))
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "private, no-store"
    return b"".join(answer.streaming_content)


@pytest.fixture
def edition(bench: Bench, owner: Client) -> Edition:
    return publishing.a_published_review(bench, owner.person, charts=["tested"])


def test_the_archive_is_made_as_a_task_and_brings_the_bench_back(owner: Client, bench: Bench, tmp_path: Path) -> None:
    builders.a_session(bench=bench, with_logs=["temperatures"])
    job = asked(owner, "archive")
    assert (job.state, job.done_steps) == (Job.State.DONE, tasks.STEPS)
    assert "Download larkmoor.bench.zip" in owner.get(reverse("job", args=[job.pk])).content.decode()
    kept = tmp_path / "bench.zip"
    kept.write_bytes(handed_out(owner, job))
    benches.delete_now(bench=bench, by=owner.person)
    assert read.read(kept, owner=owner.person) == bench


def test_the_points_of_the_bench_are_a_table(tester: Client, bench: Bench) -> None:
    builders.a_point(unit=builders.a_unit(bench=bench))
    rows = list(csv.DictReader(io.StringIO(handed_out(tester, asked(tester, "points")).decode())))
    assert [row["capacity_w"] for row in rows] == ["2300.0"]


@pytest.mark.parametrize("formula", ["=1+cmd|' /C calc'!A0", "@SUM(A1)", "+1+1"])
def test_no_cell_of_that_table_is_run_by_a_spreadsheet(formula: str, tester: Client, bench: Bench) -> None:
    unit = builders.a_unit(bench=bench, maker=formula)
    session = builders.a_session(bench=bench, unit=unit, name=formula)
    builders.a_reduction(session=session, points=(builders.a_result_point(label=formula),))
    table = handed_out(tester, asked(tester, "points")).decode()
    cells = [cell for row in csv.reader(io.StringIO(table)) for cell in row if formula in cell]
    assert len(cells) == 3
    assert [cell for cell in cells if not cell.startswith("'")] == []


def test_the_daily_command_takes_old_exports_away(owner: Client, bench: Bench, capsys) -> None:
    asked(owner, "archive")
    Job.objects.update(finished_at=datetime.now(UTC) - exports.KEPT_FOR - timedelta(hours=1))
    call_command("delete_due_benches")
    assert "Files of old exports deleted: 1" in capsys.readouterr().out
    assert exports.stored(bench) == []


def test_an_edition_comes_with_page_document_charts_and_table(tester: Client, edition: Edition) -> None:
    parts = zipfile.ZipFile(io.BytesIO(handed_out(tester, asked(tester, "edition", edition=edition.pk))))
    assert {"edition.html", "edition.json", "points.csv", "charts/tested.svg"} <= set(parts.namelist())
    assert hashlib.sha256(parts.read("edition.json")).hexdigest() == edition.sha256
    assert json.loads(parts.read("edition.json"))["number"] == 1


def test_the_same_content_is_kept_once(owner: Client, bench: Bench) -> None:
    first, second = asked(owner, "archive"), asked(owner, "archive")
    assert first.pk != second.pk
    assert first.detail["stored_as"] == second.detail["stored_as"]
    builders.a_unit(bench=bench)
    third = asked(owner, "archive")
    assert third.detail["stored_as"] != first.detail["stored_as"]
    assert len(exports.stored(bench)) == 2


@pytest.mark.parametrize(
    ("kind", "expected"),
    [("archive", (403, 403, 302)), ("points", (403, 302, 302)), ("edition", (403, 302, 302)), ("all", (404, 404, 404))],
)
def test_who_may_ask_for_what(
    kind: str, expected: tuple[int, ...], edition: Edition, reader: Client, tester: Client, owner: Client
) -> None:
    facts = {"kind": kind, "edition": edition.pk}
    assert tuple(each.post(reverse("export-begin"), facts).status_code for each in (reader, tester, owner)) == expected


def test_what_was_made_is_for_who_might_ask_for_it(
    owner: Client, tester: Client, reader: Client, stranger: Client, bench: Bench
) -> None:
    archive = reverse("export-file", args=[asked(owner, "archive").pk])
    assert [each.get(archive).status_code for each in (stranger, reader, tester)] == [404, 403, 403]


def test_an_edition_of_another_bench_is_not_here(stranger: Client, edition: Edition) -> None:
    answer = stranger.post(reverse("export-begin"), {"kind": "edition", "edition": edition.pk})
    assert answer.status_code == 404


def test_what_is_old_is_forgotten_with_its_file(owner: Client, bench: Bench) -> None:
    job = asked(owner, "archive")
    assert exports.expire(bench=bench, now=datetime.now(UTC) + exports.KEPT_FOR - timedelta(minutes=1)) == 0
    assert exports.expire(bench=bench, now=datetime.now(UTC) + exports.KEPT_FOR + timedelta(minutes=1)) == 1
    assert not Job.objects.filter(pk=job.pk).exists()
    assert exports.stored(bench) == []


def test_a_deleted_bench_leaves_no_export(owner: Client, bench: Bench) -> None:
    stored_as = asked(owner, "archive").detail["stored_as"]
    benches.delete_now(bench=bench, by=owner.person)
    assert not default_storage.exists(stored_as)


@pytest.fixture
def queue(settings) -> None:
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


def work() -> None:
    call_command("db_worker", batch=True, interval=0, startup_delay=False, verbosity=0)


@BY_A_WORKER
def test_one_that_waits_is_not_asked_for_twice_and_a_worker_makes_it(queue: None, owner: Client, bench: Bench) -> None:
    first = asked(owner, "archive")
    assert asked(owner, "archive") == first
    work()
    first.refresh_from_db()
    assert first.state == Job.State.DONE


@BY_A_WORKER
def test_one_whose_worker_was_killed_is_handed_over(queue: None, owner: Client, bench: Bench) -> None:
    job = asked(owner, "archive")
    jobs.take_up(job=job, by=None)  # and nothing more: its process ends here
    assert tasks.recover(now=datetime.now(UTC) + timedelta(hours=1)) == [job]
    work()
    job.refresh_from_db()
    assert (job.state, job.attempts) == (Job.State.DONE, 2)


@BY_A_WORKER
def test_a_cancelled_export_keeps_no_file_and_can_be_asked_for_again(queue: None, owner: Client, bench: Bench) -> None:
    job = asked(owner, "archive")
    page = owner.post(reverse("job-cancel", args=[job.pk]), follow=True).content.decode()
    assert "Try again" in page
    work()
    assert exports.stored(bench) == []
    again = asked(owner, "archive")
    work()
    again.refresh_from_db()
    assert again.state == Job.State.DONE


@BY_A_WORKER
def test_one_cancelled_while_it_runs_stops_at_its_next_part(
    queue: None, owner: Client, bench: Bench, monkeypatch
) -> None:
    job, report = asked(owner, "archive"), jobs.report

    def cancelled_half_way(**facts) -> None:
        if facts["done_steps"] >= 30:
            jobs.cancel(job=job, by=owner.person)
        report(**facts)

    monkeypatch.setattr(jobs, "report", cancelled_half_way)
    work()
    job.refresh_from_db()
    assert (job.state, exports.stored(bench)) == (Job.State.CANCELLED, [])
