"""A disk that is full: a clear sentence, nothing half kept, and the same work succeeds once there is room again.

The kernel refuses to let a file grow beyond a limit in the middle of a write (EFBIG, `setrlimit(2)`), just as it does
on a full disk (ENOSPC); where what fails is not the size of a file, the error is raised in its place.
"""

from __future__ import annotations

import errno
import os
import resource
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import OperationalError
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests import builders, publishing
from tests_app import tasks
from tests_app.actions import reduce
from tests_app.models import Evidence, Job, PartialUpload, Point, Reduction, Session, SessionFile, Window
from tests_app.whole_files import HALVES
from units.actions import benches, reviews
from units.editions.verify import verify
from units.models import Bench, CalibrationRecord, Edition, Person

pytestmark = pytest.mark.django_db
FULL = "This site has no room left for files"


@contextmanager
def room_for(count: int) -> Iterator[None]:
    """Let no file of this process grow beyond so many bytes."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (count, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextmanager
def no_scratch() -> Iterator[None]:
    """Let no scratch file or folder be made."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("mkdtemp", "mkstemp", "_mkstemp_inner", "TemporaryFile"):
            patch.setattr(tempfile, name, _no_space)
        yield


@contextmanager
def full_database() -> Iterator[None]:
    """Let the database run out of room after a result's row, and before its points."""

    def full(*_: object, **__: object) -> None:
        cause = sqlite3.OperationalError("database or disk is full")
        cause.sqlite_errorname = "SQLITE_FULL"
        raise OperationalError("database or disk is full") from cause

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(type(Point.objects), "bulk_create", full)
        yield


def _no_space(*_: object, **__: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.fixture(autouse=True)
def patient_client(owner: Client, tester: Client) -> None:
    """Let clients see the answer to an error, as a browser does."""
    owner.raise_request_exception = tester.raise_request_exception = False


def kept_files(folder: Path) -> list[str]:
    """Return every file of the store and of uploads on their way."""
    places = (folder, django_settings.PARTIAL_UPLOAD_DIR)
    return sorted(str(path) for place in places for path in place.rglob("*") if path.is_file())


def is_told_so(answer: HttpResponse) -> bool:
    return answer.status_code == 507 and FULL in answer.content.decode() and "Traceback" not in answer.content.decode()


def a_log(size: int = 200_000) -> SimpleUploadedFile:
    rows = "".join(f"2026-07-14T{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}Z,26.0\n" for n in range(size // 26))
    return SimpleUploadedFile("room.csv", ("time,room_C\n" + rows).encode())


@pytest.mark.parametrize(
    ("size", "full"),
    [
        pytest.param(200_000, lambda: room_for(50_000), id="while it is written to scratch"),
        pytest.param(200_000, no_scratch, id="before it has a scratch folder"),
        pytest.param(2_700_000, lambda: room_for(1_000_000), id="while the request is read"),
        pytest.param(2_700_000, no_scratch, id="before the request is read"),
    ],
)
def test_an_upload_is_refused_leaves_nothing_and_succeeds_later(
    size: int, full: Callable[[], AbstractContextManager], session: Session, tester: Client, evidence_folder: Path
) -> None:
    address = reverse("files", args=[session.pk])
    with full():
        answer = tester.post(address, {"files": a_log(size)})
    assert is_told_so(answer)
    assert (Evidence.objects.count(), SessionFile.objects.count()) == (0, 0)
    assert kept_files(evidence_folder) == []
    assert tester.post(address, {"files": a_log(size)}).status_code == 302
    assert SessionFile.objects.get().evidence.size_bytes == a_log(size).size


def test_a_store_that_fills_up_keeps_no_half_of_an_upload(
    session: Session, tester: Client, evidence_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Scratch lies on another disk than the store, so that the file is copied there and not moved."""

    def copied(moved: str, to: str, **_: object) -> None:
        Path(to).write_bytes(Path(moved).read_bytes()[:1000])
        _no_space()

    with monkeypatch.context() as patch:
        patch.setattr("django.core.files.storage.filesystem.file_move_safe", copied)
        assert is_told_so(tester.post(reverse("files", args=[session.pk]), {"files": a_log()}))
    assert kept_files(evidence_folder) == []
    assert not Evidence.objects.exists()


def test_a_part_of_a_large_upload_is_sent_again_and_the_whole_is_kept(
    session: Session, tester: Client, evidence_folder: Path
) -> None:
    log = a_log().read()
    begun = tester.post(reverse("upload-begin", args=[session.pk]), {"name": "room.csv", "size_bytes": len(log)}).json()

    def sent(offset: int, end: int) -> HttpResponse:
        address = f"{begun['part_url']}?offset={offset}"
        return tester.post(address, log[offset:end], content_type="application/octet-stream")

    assert sent(0, 60_000).json()["received"] == 60_000
    with room_for(50_000):
        assert sent(60_000, len(log)).status_code == 507
    assert PartialUpload.objects.get().received_bytes == 60_000
    assert [path for path in kept_files(evidence_folder) if HALVES in path] == []
    assert sent(60_000, len(log)).json()["received"] == len(log)
    assert tester.post(begun["finish_url"]).json()["is_new"] is True
    assert SessionFile.objects.get().evidence.size_bytes == len(log)


@pytest.mark.parametrize(
    "full", [pytest.param(full_database, id="in the database"), pytest.param(no_scratch, id="for scratch")]
)
def test_a_reduction_says_so_keeps_nothing_and_is_asked_for_again(
    full: Callable[[], AbstractContextManager], confirmed_session: Session, tester: Client, evidence_folder: Path
) -> None:
    before = kept_files(evidence_folder)
    with full():
        progress = tester.post(reverse("reduce", args=[confirmed_session.pk]))
    job = Job.objects.get()
    assert (job.state, job.message) == (Job.State.FAILED, tasks.NO_ROOM)
    assert "This site has no room left." in tester.get(progress.url).text
    assert not Reduction.objects.exists()
    assert kept_files(evidence_folder) == before
    tester.post(reverse("reduce", args=[confirmed_session.pk]))
    assert Job.objects.latest("asked_at").state == Job.State.DONE
    assert Reduction.objects.get().points.exists()


@pytest.mark.parametrize("kind", ["archive", "points"])
@pytest.mark.parametrize(
    "full", [pytest.param(lambda: room_for(100), id="while written"), pytest.param(no_scratch, id="for scratch")]
)
def test_an_export_says_so_keeps_nothing_and_is_asked_for_again(
    full: Callable[[], AbstractContextManager], kind: str, bench: Bench, owner: Client, evidence_folder: Path
) -> None:
    builders.a_session(bench=bench)
    with full():
        owner.post(reverse("export-begin"), {"kind": kind})
    job = Job.objects.get()
    assert (job.state, job.message) == (Job.State.FAILED, tasks.NO_ROOM)
    assert kept_files(evidence_folder) == []
    owner.post(reverse("export-begin"), {"kind": kind})
    again = Job.objects.latest("asked_at")
    assert (again.state, len(kept_files(evidence_folder))) == (Job.State.DONE, 1)


def test_windows_are_looked_for_again_once_their_table_finds_room(
    confirmed_session: Session, tester: Client, evidence_folder: Path
) -> None:
    before, address = kept_files(evidence_folder), reverse("windows-propose", args=[confirmed_session.pk])
    with room_for(2000):
        assert is_told_so(tester.post(address))
    assert kept_files(evidence_folder) == before
    assert not Window.objects.exists()
    assert tester.post(address).status_code == 302
    assert tester.get(reverse("windows", args=[confirmed_session.pk])).status_code == 200
    assert Window.objects.exists()


def test_an_edition_whose_raw_table_finds_no_room_is_not_published(
    confirmed_session: Session, owner: Client, bench: Bench, evidence_folder: Path
) -> None:
    """A half table under its digest would stand there for good: the next try would take it for the whole."""
    unit = publishing.a_told_unit(bench)
    confirmed_session.unit = unit
    confirmed_session.save()
    reduction = reduce.run_and_store(session=confirmed_session, by=owner.person)
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    reviews.write(review=review, disclosure="Bought.", charts=[], publish_raw=True, by=owner.person)
    answers = {str(each.pk): "Known." for each in reduction.findings.filter(severity="severe")}
    reviews.answer(review=review, answers=answers, by=owner.person)
    before = kept_files(evidence_folder)
    with room_for(2000):
        assert is_told_so(owner.post(reverse("review-publish", args=[review.pk]), {"read": "on"}))
    assert not Edition.objects.exists()
    assert kept_files(evidence_folder) == before
    assert owner.post(reverse("review-publish", args=[review.pk]), {"read": "on"}).status_code == 302
    assert {one.proved for one in verify(Edition.objects.get(), points=False)} == {True}


def test_a_certificate_is_kept_whole_or_not(bench: Bench, tester: Client, evidence_folder: Path) -> None:
    instrument = builders.an_instrument(bench=bench)
    address = reverse("instrument-calibrate", args=[instrument.pk])
    known = {"valid_from": "2026-06-01", "how": "ice point", "offset_correction": "0.2", "gain_correction": "1"}

    def sent() -> HttpResponse:
        page = SimpleUploadedFile("c.txt", b"good " * 2000)
        return tester.post(address, known | {"certificate": page})

    with room_for(4000):
        assert is_told_so(sent())
    assert not CalibrationRecord.objects.exists()
    assert kept_files(evidence_folder) == []
    assert sent().status_code == 302
    with CalibrationRecord.objects.get().certificate.open("rb") as certificate:
        assert certificate.read() == b"good " * 2000


def test_a_backup_and_an_exported_bench_say_so_and_leave_no_half(bench: Bench, owner: Client, tmp_path: Path) -> None:
    folder = tmp_path / "kept"
    folder.mkdir()
    for command, path in ((["backup"], "b.zip"), (["export_bench", bench.slug], "c.zip")):
        with room_for(300), pytest.raises(CommandError, match=r"A disk is full: nothing of .*zip was kept"):
            call_command(*command, "--to", str(folder / path), verbosity=0)
        assert list(folder.iterdir()) == []
        call_command(*command, "--to", str(folder / path), verbosity=0)
        (folder / path).unlink()


def test_a_bench_that_finds_no_room_is_brought_in_whole_later(
    confirmed_session: Session, bench: Bench, owner: Client, tmp_path: Path, evidence_folder: Path
) -> None:
    archive, before = tmp_path / "bench.zip", {row.sha256 for row in Evidence.objects.all()}
    call_command("export_bench", bench.slug, "--to", str(archive), verbosity=0)
    benches.delete_now(bench=bench, by=None)
    asked = ("import_bench", str(archive), "--owner", owner.person.username)
    people = Person.objects.count()
    with room_for(2000), pytest.raises(CommandError, match="A disk is full"):
        call_command(*asked, verbosity=0)
    assert not Bench.objects.filter(pk=bench.pk).exists()
    assert Person.objects.count() == people
    assert kept_files(evidence_folder) == []
    call_command(*asked, verbosity=0)
    assert {row.sha256 for row in Evidence.objects.all()} == before
    assert len(kept_files(evidence_folder)) == len(before)
