"""One bench cannot fill the disk of all: what it may hold, what it is told, and what stays untouched."""

from __future__ import annotations

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from tests import builders, logs
from tests_app.actions import quotas, upload
from tests_app.models import Evidence, PartialUpload, Session
from units.models import Bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(bench: Bench) -> Session:
    return builders.a_session(bench=bench)


def a_file(name: str = "temperatures.csv", minutes: int = 90) -> ContentFile:
    return ContentFile(logs.temperatures(minutes), name=name)


def test_a_file_beyond_the_quota_is_refused_with_both_amounts(session: Session, tester: Client, settings) -> None:
    settings.BENCH_MOST_BYTES = 2048
    taken = upload.keep_files(session=session, files=[a_file()], by=tester.person)
    assert not Evidence.objects.exists()
    (error,) = taken.refused
    assert isinstance(error, quotas.BenchIsFull)
    assert str(error) == (
        "temperatures.csv: found “10.9 KB more for a bench with 0 bytes”, expected at most 2.0 KB on one bench. "
        "Ask who runs this site for more room."
    )


def test_files_are_kept_up_to_the_quota_and_the_rest_refused(session: Session, tester: Client, settings) -> None:
    settings.BENCH_MOST_FILES = 2
    files = [a_file(f"{minutes}.csv", minutes) for minutes in (90, 91, 92)]
    taken = upload.keep_files(session=session, files=files, by=tester.person)
    assert [file.name for file in taken.kept] == ["90.csv", "91.csv"]
    assert ["1 file more for a bench with 2 files" in error.found for error in taken.refused] == [True]
    assert Evidence.objects.count() == 2


def test_a_file_the_bench_has_already_costs_nothing(session: Session, tester: Client, settings) -> None:
    upload.keep_files(session=session, files=[a_file()], by=tester.person)
    settings.BENCH_MOST_FILES = 1
    other = builders.a_session(bench=session.bench)
    assert upload.keep_files(session=other, files=[a_file()], by=tester.person).refused == []


def test_an_upload_in_parts_is_refused_before_its_first_byte(session: Session, tester: Client, settings) -> None:
    settings.BENCH_MOST_BYTES = 10_000
    begin = reverse("upload-begin", args=[session.pk])
    assert tester.post(begin, {"name": "a.csv", "size_bytes": 6000}).status_code == 200
    answer = tester.post(begin, {"name": "b.csv", "size_bytes": 6000})  # together they would not fit
    assert answer.status_code == 422
    assert "at most 9.8 KB on one bench" in answer.json()["errors"][0]["sentence"]
    assert PartialUpload.objects.count() == 1


def test_an_upload_in_parts_that_fits_exactly_is_kept(session: Session, tester: Client, settings) -> None:
    content = logs.temperatures()
    settings.BENCH_MOST_BYTES = len(content)
    begun = upload.begin(session=session, name="a.csv", size_bytes=len(content), by=tester.person)
    upload.receive(upload=begun, offset=0, part=ContentFile(content), by=tester.person)
    assert upload.finish(upload=begun, by=tester.person).refused == []


def test_a_session_beyond_the_quota_is_a_sentence_on_a_page(session: Session, tester: Client, settings) -> None:
    settings.BENCH_MOST_SESSIONS = 1
    facts = {"name": "One more", "purpose": "cooling", "time_zone": "UTC"}
    answer = tester.post(reverse("session-new"), facts)
    assert answer.status_code == 422
    assert "at most 1 session on one bench" in answer.content.decode()
    assert Session.objects.count() == 1


def test_another_bench_has_its_own_quota(session: Session, tester: Client, stranger: Client, settings) -> None:
    settings.BENCH_MOST_FILES = 1
    upload.keep_files(session=session, files=[a_file()], by=tester.person)
    theirs = builders.a_session(bench=Bench.objects.get(slug="another"))
    assert upload.keep_files(session=theirs, files=[a_file()], by=stranger.person).refused == []


def test_the_bench_page_says_how_much_is_used(session: Session, tester: Client, reader: Client, settings) -> None:
    upload.keep_files(session=session, files=[a_file()], by=tester.person)
    settings.BENCH_MOST_FILES = 1
    page = " ".join(reader.get(reverse("bench-home")).content.decode().split())
    assert "1 of 1 file" in page
    assert "1 of 10,000 sessions" in page
    assert "10.9 KB of 20.0 GB" in page
    assert "nearly full" in page
