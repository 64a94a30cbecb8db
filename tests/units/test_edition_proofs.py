"""Editions proved from what is kept, and written out as one file."""

from __future__ import annotations

import hashlib
import io
import re
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from tests import builders, publishing
from tests.units.test_editions import held
from tests_app.actions import mapping, reduce, windows
from tests_app.models import Channel
from units.actions import editions, reviews
from units.models import Bench, Edition, Review


@pytest.fixture
def edition(bench: Bench, owner: Client) -> Edition:
    return publishing.a_published_review(bench, owner.person)


@pytest.fixture
def measured(bench: Bench, owner: Client) -> Review:
    """Return a review of a unit that was really reduced from kept log files, with its logged data to be published."""
    unit = publishing.a_told_unit(bench)
    session = builders.a_session(bench=bench, unit=unit, with_logs=["temperatures", "plugs"], name=publishing.SESSION)
    channels = list(Channel.objects.filter(file__session=session))
    mapping.confirm(channels=channels, choices={channel.pk: {} for channel in channels}, by=owner.person)
    for window in windows.propose(session=session, by=owner.person):
        windows.accept(window=window, by=owner.person)
    reduce.run_and_store(session=session, by=owner.person)
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    return reviews.write(review=review, by=owner.person, disclosure="Bought.", publish_raw=True)


# --- proof from kept evidence --------------------------------------------------------------------------------


def verified(*arguments: str) -> str:
    out = io.StringIO()
    call_command("verify_editions", *arguments, stdout=out)
    return out.getvalue()


def test_editions_are_proved_from_the_log_files_they_came_from(measured: Review, owner: Client) -> None:
    editions.publish(review=measured, by=owner.person)
    said = verified()
    assert "proved: points of S1: 1 reduced again from the kept log files" in said
    assert "proved: table of S1" in said
    assert "not checked" not in said


def test_an_edition_that_was_tampered_with_in_the_database_is_found(edition: Edition) -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE units_edition SET document = replace(document, '2300.0', '2500.0')")
    with pytest.raises(CommandError, match="1 checks failed"):
        verified("--digests-only")


def test_a_log_file_that_was_exchanged_is_found(measured: Review, owner: Client) -> None:
    editions.publish(review=measured, by=owner.person)
    evidence = measured.points.get().reduction.session.files.get(name="plugs.csv").evidence
    with default_storage.open(evidence.stored_as) as stored:
        text = stored.read().decode()
    default_storage.delete(evidence.stored_as)
    default_storage.save(evidence.stored_as, io.BytesIO(text.replace(",19", ",18").encode()))
    with pytest.raises(Exception, match=r"checks failed|SHA-256"):
        verified()


def test_a_log_file_that_is_no_longer_kept_is_said_and_is_no_failure(measured: Review, owner: Client) -> None:
    editions.publish(review=measured, by=owner.person)
    for file in measured.points.get().reduction.session.files.all():
        default_storage.delete(file.evidence.stored_as)
    assert "not checked: points of S1: its log files are no longer kept" in verified()


def test_the_published_log_has_public_headings_only(measured: Review, owner: Client) -> None:
    edition = editions.publish(review=measured, by=owner.person)
    raw = held(edition)["sessions"]["S1"]["raw"]
    answer = Client().get(f"/published/{measured.slug}/1/raw/{raw['sha256']}.csv")
    heading = answer.content.decode().splitlines()[0]
    assert hashlib.sha256(answer.content).hexdigest() == raw["sha256"]
    assert heading.split(",")[0] == "time (UTC)"
    assert "room temperature 1 (°C)" in heading
    assert "Yard" not in heading
    assert len(answer.content.splitlines()) == raw["rows"] + 1


def test_without_the_reviewers_choice_no_log_is_published(edition: Edition) -> None:
    assert held(edition)["sessions"]["S1"]["raw"] is None
    assert Client().get(f"/published/{edition.review.slug}/1/raw/{'0' * 64}.csv").status_code == 404


# --- one file -----------------------------------------------------------------------------------------------


def test_the_exported_file_holds_the_document_whose_digest_it_shows(edition: Edition, tmp_path: Path) -> None:
    path = tmp_path / "edition.html"
    call_command("export_edition", edition.review.slug, to=path, stdout=io.StringIO())
    html = path.read_text(encoding="utf-8")
    (document,) = re.findall(r'<script type="application/json" id="edition-document">(.*?)</script>', html, re.DOTALL)
    assert hashlib.sha256(document.encode()).hexdigest() == edition.sha256
    assert edition.sha256 in html
    assert re.findall(r'<(?:script|img|link rel="(?:stylesheet|icon)")[^>]*(?:src|href)="http', html) == []


@pytest.mark.django_db
def test_exporting_what_is_not_published_says_so() -> None:
    with pytest.raises(CommandError, match="Nothing is published as “nothing”"):
        call_command("export_edition", "nothing")
