"""What machines that watch over the site are told."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.db import OperationalError
from django.test import Client

from tests import builders
from tests_app.models import Job
from units import health
from units.models import Bench

pytestmark = pytest.mark.django_db


def test_a_process_that_answers_is_live(visitor: Client) -> None:
    assert visitor.get("/healthz/live/").content == b"ok"


def test_ready_names_database_storage_and_queue(visitor: Client) -> None:
    told = visitor.get("/healthz/ready/").json()
    assert (told["ready"], told["late"]) == (True, False)
    assert {name: part["works"] for name, part in told["parts"].items()} == {
        "database": True,
        "storage": True,
        "queue": True,
    }


def test_a_database_that_is_away_is_no_500_and_says_nothing_of_it(visitor: Client, monkeypatch) -> None:
    def away() -> str:
        raise OperationalError("connection to server at 10.0.0.5 failed for user ledger")

    monkeypatch.setattr(health, "_database", away)
    answer = visitor.get("/healthz/ready/")
    assert answer.status_code == 503
    assert answer.json()["parts"]["database"] == {"works": False, "found": "OperationalError"}
    assert "10.0.0.5" not in answer.content.decode()


def test_a_store_that_cannot_be_written_is_not_ready(visitor: Client, evidence_folder) -> None:
    evidence_folder.write_text("a file where the folder should be")
    assert visitor.get("/healthz/ready/").status_code == 503


def test_an_old_queue_is_told(bench: Bench, visitor: Client) -> None:
    session = builders.a_session(bench=bench)
    Job.objects.create(bench=bench, session=session, what="reduction")
    Job.objects.update(asked_at=datetime.now(UTC) - timedelta(seconds=health.LATE_S + 60))
    told = visitor.get("/healthz/").json()
    assert told["late"] is True
    assert told["parts"]["queue"]["found"] == pytest.approx(health.LATE_S + 60, abs=5)


def test_figures_are_for_who_holds_the_secret(visitor: Client, settings) -> None:
    assert visitor.get("/metrics").status_code == 404
    settings.METRICS_TOKEN = "a secret of the monitoring"
    assert visitor.get("/metrics", headers={"Authorization": "Bearer wrong"}).status_code == 404
    told = visitor.get("/metrics", headers={"Authorization": f"Bearer {settings.METRICS_TOKEN}"})
    assert told.headers["Content-Type"].startswith("application/openmetrics-text")


def test_figures_are_written_as_openmetrics(bench: Bench) -> None:
    """OpenMetrics 1.0, from memory: each sample is of a family with a TYPE, and `# EOF` is last."""
    builders.a_session(bench=bench)
    lines = health.exposition().splitlines()
    assert lines[-1] == "# EOF"
    described = {line.split()[2] for line in lines if line.startswith("# TYPE")}
    samples = [line for line in lines if not line.startswith("#")]
    assert [line for line in samples if not re.fullmatch(r'[a-z_]+(\{[a-z]+="[a-z]+"\})? [0-9.e+]+', line)] == []
    assert {re.split(r"[ {]", line)[0] for line in samples} == described
    assert "cooling_ledger_sessions 1" in samples
