"""A bench comes in at a page: sent, looked at, shown to who sent it alone, and brought in whole or not at all."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from tests import builders
from tests.archives import archived, parts_of, rewritten, rows_of
from tests.units.test_archive_versions import FIRST
from tests_app import tasks
from tests_app.actions import jobs
from tests_app.models import Evidence, Job, Reduction
from units.actions import arrivals, benches, reviews
from units.archive import look
from units.models import Bench, CalibrationRecord, Edition, Person

pytestmark = pytest.mark.django_db


@pytest.fixture
def newcomer(client):
    """Return the client of somebody who is signed in and on no bench."""
    client.person = builders.a_person(username="nora")
    client.force_login(client.person)
    return client


def sent(client, path=FIRST, **more):
    """Send an archive and follow to where it is shown."""
    file = SimpleUploadedFile("mine.bench.zip", path.read_bytes(), content_type="application/zip")
    return client.post(reverse("arrival-new"), {"file": file} | more, follow=True)


def brought(client, page, **given):
    return client.post(page.wsgi_request.path, given, follow=True)


def nothing_is_here() -> bool:
    stored = [name for folder in ("sha256", "certificates", "published", "arrivals") for name in _files(folder)]
    return not (Bench.objects.exists() or Evidence.objects.exists() or stored)


def _files(folder: str) -> list[str]:
    if not default_storage.exists(folder):
        return []
    folders, files = default_storage.listdir(folder)
    return files + [name for each in folders for name in _files(f"{folder}/{each}")]


def test_who_is_on_no_bench_brings_one_in_and_owns_it(newcomer):
    assert reverse("arrival-new") in newcomer.get(reverse("bench-home")).text
    page = sent(newcomer)
    assert "Every digest and every row is as listed. Nothing of it is kept yet." in page.text
    assert not Bench.objects.exists()
    done = brought(newcomer, page)
    bench = Bench.objects.get()
    assert "Larkmoor Bench is here with all that its archive holds" in done.text
    assert [(one.person, one.role) for one in bench.memberships.all()] == [(newcomer.person, "owner")]
    home = newcomer.post(reverse("bench-choose", args=[bench.pk]), follow=True)
    assert "<h1>Larkmoor Bench</h1>" in home.text
    assert _files("arrivals") == [], "the archive itself is not kept"


def test_the_page_says_what_the_archive_holds_before_anything_is_kept(newcomer):
    page = sent(newcomer)
    holds = page.context["holds"]
    found = look.look(FIRST)
    assert holds["counts"] == found.counts
    assert dict(page.context["counts"])["reductions"] == len(rows_of(FIRST, "Reduction"))
    for said in (
        "synthetic",
        found.content_sha256,
        "version 1 of the format",
        "method 1.0",
        "mine.bench.zip",
        "14.7\xa0KB",
    ):
        assert said in page.text
    evidence = [data for name, data in parts_of(FIRST).items() if name.startswith("evidence/")]
    assert (holds["files"], holds["file_bytes"]) == (len(evidence), sum(map(len, evidence)))


def test_who_was_there_under_a_name_is_named_by_their_account_here(newcomer, tmp_path):
    """Nora did the work as Odile; the others are named, and nobody can sign in as them."""
    done = brought(newcomer, sent(newcomer), known_as="odile")
    assert done.status_code == 200
    bench = Bench.objects.get()
    assert {row.reduced_by for row in Reduction.objects.all()} == {newcomer.person}
    others = Person.objects.exclude(pk=newcomer.person.pk)
    assert all(not one.is_active and not one.has_usable_password() for one in others)
    assert bench.memberships.count() == 1


def test_what_was_brought_in_is_equal_by_digest(newcomer, tmp_path):
    first = tmp_path / "a.zip"
    brought(newcomer, sent(newcomer))
    digest = archived(Bench.objects.get(), first)
    Bench.objects.get().memberships.all().delete()
    benches.delete_now(bench=Bench.objects.get(), by=None)
    Person.objects.filter(is_active=False).delete()
    page = sent(newcomer, first)
    brought(newcomer, page, known_as="nora" if "nora" in page.context["holds"]["people"] else "")
    assert archived(Bench.objects.get(), tmp_path / "b.zip") == digest


def test_nobody_else_sees_what_was_sent(newcomer, owner, stranger, visitor):
    page = sent(newcomer)
    address = page.wsgi_request.path
    job = Job.objects.get()
    for other in (owner, stranger):
        assert other.get(address).status_code == 404
        assert other.post(address).status_code == 404
        assert other.get(reverse("job", args=[job.pk])).status_code == 404
        assert other.post(reverse("job-cancel", args=[job.pk])).status_code == 404
        assert other.post(reverse("arrival-drop", args=[job.pk])).status_code == 404
    assert visitor.get(address).url.startswith(reverse("sign-in"))
    assert newcomer.get(address).status_code == 200


def test_a_bench_that_is_here_already_is_told_before_it_could_come_in(newcomer):
    brought(newcomer, sent(newcomer))
    again = sent(newcomer)
    assert len(again.context["holds"]["clashes"]) == 1
    assert "This bench is on this installation already." in again.text
    assert "Bring it in" not in again.text
    assert newcomer.post(again.wsgi_request.path).status_code == 404
    assert Bench.objects.count() == 1


def test_a_review_whose_address_another_uses_is_told(newcomer, stranger):
    unit = builders.a_unit(bench=stranger.person.memberships.get().bench)
    review = reviews.begin(bench=unit.bench, units=[unit], by=stranger.person)
    taken = rows_of(FIRST, "Review")[0]["slug"]
    review.slug = taken
    review.save()
    assert f"The address of a review, “{taken}”, is used by another one here." in sent(newcomer).text


def test_a_bench_whose_address_another_uses_gets_one_of_its_own(newcomer, bench):
    page = sent(newcomer)
    assert "this one gets “larkmoor-2”" in page.text
    brought(newcomer, page)
    assert Bench.objects.get(name="Larkmoor Bench", is_synthetic=True).slug == "larkmoor-2"


def test_a_certificate_of_the_same_name_is_neither_shown_nor_written_over(newcomer):
    """Another bench's certificate stands under the name that the archive's row gives."""
    name = rows_of(FIRST, "CalibrationRecord")[0]["certificate"]
    default_storage.save(name, ContentFile(b"another bench's certificate"))
    brought(newcomer, sent(newcomer))
    record = CalibrationRecord.objects.get()
    assert record.certificate.name != name
    with record.certificate.open("rb") as own:
        assert own.read() == parts_of(FIRST)[name]
    with default_storage.open(name) as other:
        assert other.read() == b"another bench's certificate"


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no zip", b"plain words", FIRST.read_bytes()[:30_000]])
def test_what_is_no_archive_is_refused_in_words(content, newcomer, tmp_path):
    (tmp_path / "x.zip").write_bytes(content)
    page = sent(newcomer, tmp_path / "x.zip")
    assert "expected the archive of a bench" in page.text
    assert nothing_is_here()


def test_a_file_that_is_too_large_is_refused_with_another_way_in(newcomer, settings):
    settings.MAX_UPLOAD_BYTES = 50_000
    page = sent(newcomer)
    assert page.status_code == 422
    assert "import_bench FILE --owner USER" in page.text
    assert not Job.objects.exists()


def test_what_is_more_than_a_bench_may_hold_is_told_and_not_taken(newcomer, settings):
    settings.BENCH_MOST_FILES = 1
    page = sent(newcomer)
    assert "It is more than one bench may hold here: 2 of 1 file." in page.text
    assert page.context["form"] is None


def test_a_bomb_is_refused_before_it_is_unpacked(newcomer, tmp_path, settings):
    page = sent(newcomer, rewritten(FIRST, tmp_path / "x.zip", {"certificates/scan.pdf": bytes(32 << 20)}))
    assert "bytes that unpack to 33,554,432" in page.text
    settings.BENCH_MOST_BYTES = 200_000
    assert "parts that unpack to" in sent(newcomer).text
    assert nothing_is_here()


def test_what_was_sent_before_is_thrown_away_by_the_next_and_after_a_day(newcomer):
    sent(newcomer)
    sent(newcomer)
    job = Job.objects.get()
    assert len(_files("arrivals")) == 1
    assert arrivals.expire(now=job.asked_at + timedelta(hours=23)) == 0
    assert arrivals.expire(now=job.asked_at + timedelta(hours=25)) == 1
    assert nothing_is_here()


def test_the_daily_command_throws_old_ones_away_and_what_is_left_of_failed_work(newcomer, capsys):
    sent(newcomer)
    long_ago = timezone.now() - arrivals.LIFETIME - timedelta(minutes=1)
    facts = {"what": arrivals.ARRIVAL, "asked_by": newcomer.person, "detail": {"stored_as": "x"}}
    Job.objects.create(**facts, state="failed", finished_at=long_ago)
    Job.objects.update(asked_at=long_ago)
    call_command("delete_due_benches")
    assert "Archives that nobody brought in deleted: 1" in capsys.readouterr().out
    assert not Job.objects.exists()
    assert nothing_is_here()


def test_it_can_be_thrown_away(newcomer):
    page = sent(newcomer)
    page = newcomer.post(reverse("arrival-drop", args=[page.context["job"].pk]), follow=True)
    assert "is thrown away; nothing of it was kept." in page.text
    assert nothing_is_here()


def test_work_that_was_cancelled_meanwhile_leaves_nothing(newcomer, monkeypatch):
    """Cancelled while its rows were written: the task and the bench are kept together, or neither."""
    page = sent(newcomer)

    def cancelled(bench):
        Job.objects.filter(what=arrivals.ARRIVAL).update(state=Job.State.CANCELLED, finished_at=timezone.now())
        return iter(())

    monkeypatch.setattr(arrivals.ledger, "faults_of", cancelled)
    brought(newcomer, page)
    assert not Bench.objects.exists()
    assert _files("sha256") == []


def test_a_disk_that_is_full_leaves_nothing_and_is_said(newcomer, monkeypatch):
    page = sent(newcomer)
    save, kept = default_storage.save, []

    def full(name, content, **more):
        if len(kept) == 2:
            raise OSError(28, "No space left on device")
        kept.append(save(name, content, **more))
        return kept[-1]

    monkeypatch.setattr(default_storage, "save", full)
    failed = brought(newcomer, page)
    assert tasks.NO_ROOM in failed.text
    assert not Bench.objects.exists()
    assert not any(default_storage.exists(name) for name in kept)
    monkeypatch.undo()
    assert "is here with all" in brought(newcomer, newcomer.get(page.wsgi_request.path)).text, "tried again"


def test_asked_twice_it_comes_in_once(newcomer, settings, django_capture_on_commit_callbacks):
    page = sent(newcomer)
    job = page.context["job"]
    Job.objects.create(
        what=arrivals.ARRIVAL, asked_by=newcomer.person, detail=job.detail | {"known_as": "", "look": str(job.pk)}
    )
    assert not jobs.is_lost(Job.objects.get(what=arrivals.ARRIVAL))
    again = arrivals.bring_in(job=job, by=newcomer.person)
    assert Job.objects.get(what=arrivals.ARRIVAL) == again


def test_what_was_published_is_published_here(newcomer, visitor):
    brought(newcomer, sent(newcomer))
    edition = Edition.objects.get()
    assert visitor.get(reverse("edition", args=[edition.review.slug])).status_code == 200
    assert edition.review.slug in visitor.get(reverse("published")).text
