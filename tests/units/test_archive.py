"""A whole bench as one file, back with nothing lost, and gone when its owner wants it gone."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.urls import reverse

from reduction.errors import UnreadableFile
from reduction.session import DecisionRule
from tests import builders
from tests.archives import archived, rewritten
from tests_app import evidence_store
from tests_app.actions import decisions, mapping, reduce
from tests_app.models import Channel, Evidence, Point, Reduction
from units.actions import benches, editions, reviews, shares
from units.archive import read
from units.archive.rows import STAYS, staying, travelling
from units.models import (
    Bench,
    CalibrationRecord,
    CatalogueEntry,
    Collection,
    Edition,
    Instrument,
    Person,
    PublishedPoint,
    Tag,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def full_bench(bench, owner):
    """Return a bench with one of nearly everything: reduced twice, calibrated, reviewed, published, shared."""
    unit = builders.a_unit(bench=bench, claims={}, obtained="bought", afterwards="kept", serial="SN-1", price="349.90")
    unit.tags.add(Tag.objects.create(bench=bench, key="series", value="Nord"))
    Collection.objects.create(bench=bench, name="Small").units.add(unit)
    plug = builders.an_instrument(bench=bench)
    record = CalibrationRecord.objects.create(instrument=plug, valid_from=builders.NOON.date(), how="certificate")
    record.certificate.save("plug.txt", ContentFile(b"good"))
    session = builders.a_session(bench=bench, unit=unit, with_logs=["temperatures", "plugs"])
    channels = list(Channel.objects.filter(file__session=session))
    choices = {c.pk: {"instrument": plug} if c.role.startswith("heater") else {} for c in channels}
    mapping.confirm(channels=channels, choices=choices, by=owner.person)
    reduce.run_and_store(session=session, by=owner.person)
    decisions.choose(session=session, rule=DecisionRule(rule="guard_band"), why="Asked for.", by=owner.person)
    session.notes = "again"
    session.save()
    reduce.run_and_store(session=session, by=owner.person)
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    reviews.write(review=review, disclosure="Bought.", charts=["tested"], publish_raw=True, by=owner.person)
    findings = review.points.get().reduction.findings.filter(severity="severe")
    reviews.answer(review=review, answers={str(each.pk): "Known." for each in findings}, by=owner.person)
    editions.publish(review=review, by=owner.person)
    shares.share(review=review, label="maker", days=7, by=owner.person)
    return bench


@pytest.fixture
def archive(full_bench, tmp_path):
    path = tmp_path / "bench.zip"
    archived(full_bench, path)
    return path


def gone(bench) -> None:
    benches.delete_now(bench=bench, by=None)
    assert not Bench.objects.filter(pk=bench.pk).exists()


def test_a_bench_that_was_deleted_comes_back_equal_by_digest(full_bench, owner, tmp_path):
    before = archived(full_bench, tmp_path / "a.zip")
    point = Point.objects.current().filter(reduction__session__bench=full_bench).values().get()
    edition = Edition.objects.values().get()
    gone(full_bench)
    assert not Reduction.objects.exists()
    bench = read.read(tmp_path / "a.zip", owner=owner.person, same_people=True)
    assert bench == full_bench
    assert archived(bench, tmp_path / "b.zip") == before
    assert Point.objects.current().filter(reduction__session__bench=bench).values().get() == point
    assert Edition.objects.values().get() == edition


def test_its_evidence_and_headline_come_back_and_reduce_to_the_same_figure(archive, full_bench, owner):
    files = {row.sha256: b"".join(evidence_store.blocks_of(row.stored_as)) for row in Evidence.objects.all()}
    capacity_w = Point.objects.current().get().capacity_w
    gone(full_bench)
    assert not any(default_storage.exists(f"sha256/{sha[:2]}/{sha}") for sha in files)
    read.read(archive, owner=owner.person)
    back = {row.sha256: b"".join(evidence_store.blocks_of(row.stored_as)) for row in Evidence.objects.all()}
    assert back == files
    session = Reduction.objects.first().session
    session.notes = "once more"
    session.save()
    assert reduce.run_and_store(session=session, by=owner.person).points.get().capacity_w == pytest.approx(capacity_w)
    assert CatalogueEntry.objects.filter(bench=full_bench).exists(), "the shelf is made again"
    with CalibrationRecord.objects.get().certificate.open("rb") as certificate:
        assert certificate.read() == b"good"


def test_any_zip_program_can_check_and_read_it(archive):
    with zipfile.ZipFile(archive) as parts:
        lines = [line.split("  ", 1) for line in parts.read("SHA256SUMS").decode().splitlines()]
        assert {name for _, name in lines} == set(parts.namelist()) - {"SHA256SUMS"}
        assert all(hashlib.sha256(parts.read(name)).hexdigest() == value for value, name in lines)
        rows = list(csv.DictReader(io.StringIO(parts.read("points.csv").decode())))
        assert float(rows[-1]["capacity_w"]) == Point.objects.current().get().capacity_w
        assert [row["stands"] for row in rows] == ["False", "True"] or [row["stands"] for row in rows] == [
            "True",
            "False",
        ]
        readme = parts.read("README.md").decode()
        assert "Licence" in readme
        assert "SI" in readme
        (unit,) = map(json.loads, parts.read("rows/Unit.jsonl").splitlines())
        assert unit["price"] == "349.90"


def test_nobody_gets_a_role_or_an_account_by_being_named(archive, full_bench, owner, tester, stranger):
    gone(full_bench)
    bench = read.read(archive, owner=stranger.person)
    assert [member.person for member in bench.memberships.all()] == [stranger.person]
    stand_in = Person.objects.get(username="odile+2")
    assert not stand_in.is_active
    assert not stand_in.has_usable_password()
    assert bench.sessions.get().reductions.first().reduced_by == stand_in


def test_what_is_here_already_is_refused_and_nothing_changes(archive, owner):
    with pytest.raises(UnreadableFile, match="rows that are here already"):
        read.read(archive, owner=owner.person)
    assert Bench.objects.count() == 1


def test_a_damaged_part_is_named(archive, full_bench, owner, tmp_path):
    gone(full_bench)
    with pytest.raises(UnreadableFile, match=r"rows/Unit\.jsonl is not as listed"):
        read.read(rewritten(archive, tmp_path / "x.zip", {"rows/Unit.jsonl": b"{}\n"}, fits=False), owner=owner.person)


def test_rows_that_point_out_of_the_archive_are_refused(archive, full_bench, owner, tmp_path, stranger):
    """A forged archive must not hang its sessions on another bench's unit."""
    foreign = builders.a_unit(bench=stranger.person.memberships.get().bench)
    with zipfile.ZipFile(archive) as parts:
        (row,) = map(json.loads, parts.read("rows/Session.jsonl").splitlines())
    gone(full_bench)
    forged = json.dumps(row | {"unit": str(foreign.pk)}).encode()
    path = rewritten(archive, tmp_path / "x.zip", {"rows/Session.jsonl": forged})
    with pytest.raises(UnreadableFile, match="rows that do not fit"):
        read.read(path, owner=owner.person)
    assert Bench.objects.count() == 1


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no zip", b"plain words"])
def test_what_is_no_archive_is_refused(content, tmp_path, owner):
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    with pytest.raises(UnreadableFile, match="the archive of a bench"):
        read.read(path, owner=owner.person)


def test_every_kind_of_row_travels_or_says_why_not():
    names = {model.__name__ for model in travelling()}
    assert not names & STAYS.keys()
    assert {model.__name__ for model in staying()} <= STAYS.keys()
    assert {"Bench", "Reduction", "Point", "Finding", "Edition", "Withdrawal", "Change", "Evidence"} <= names


def test_deleting_takes_the_bench_and_leaves_the_others(full_bench, stranger):
    other = stranger.person.memberships.get().bench
    kept = builders.an_instrument(bench=other)
    gone(full_bench)
    assert list(Instrument.objects.all()) == [kept]
    assert not PublishedPoint.objects.exists()
    assert not CatalogueEntry.objects.exists()


def test_evidence_that_another_bench_keeps_too_stays_in_the_store(full_bench, stranger):
    other = stranger.person.memberships.get().bench
    builders.a_session(bench=other, with_logs=["temperatures"])
    gone(full_bench)
    row = Evidence.objects.get()
    assert b"".join(evidence_store.blocks_of(row.stored_as)).startswith(b"time_utc")


def test_an_owner_downloads_the_archive_and_marks_the_bench(full_bench, owner, tester):
    answer = owner.post(reverse("bench-download"))
    parts = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    assert json.loads(parts.read("manifest.json"))["bench"] == "Larkmoor Bench"
    assert tester.post(reverse("bench-download")).status_code == 403
    owner.post(reverse("bench-delete"), {"name": "Larkmoor"})
    full_bench.refresh_from_db()
    assert full_bench.delete_after is None, "the whole name has to be typed"
    owner.post(reverse("bench-delete"), {"name": "Larkmoor Bench"})
    assert "will be deleted after" in owner.get(reverse("bench-home")).text
    assert benches.delete_due() == []
    owner.post(reverse("bench-delete"), {"verb": "keep"})
    full_bench.refresh_from_db()
    assert full_bench.delete_after is None


def test_a_bench_goes_when_its_grace_period_is_over(full_bench, owner):
    marked = benches.delete_later(bench=full_bench, typed_name="Larkmoor Bench", by=owner.person)
    assert benches.delete_due(now=marked.delete_after - timedelta(minutes=1)) == []
    assert benches.delete_due(now=marked.delete_after) == ["Larkmoor Bench"]


def test_the_commands_do_the_same(full_bench, owner, tmp_path, capsys):
    path = tmp_path / "b.zip"
    call_command("export_bench", "larkmoor", "--to", str(path))
    digest = capsys.readouterr().out.split()[-1]
    gone(full_bench)
    call_command("import_bench", str(path), "--owner", "odile", "--same-people")
    assert archived(Bench.objects.get(), tmp_path / "c.zip") == digest
    with pytest.raises(CommandError, match="Nobody here"):
        call_command("import_bench", str(path), "--owner", "nobody")
    with pytest.raises(CommandError, match="there are: larkmoor"):
        call_command("export_bench", "x")


def test_bytes_under_a_digest_that_is_not_theirs_are_refused(archive, full_bench, owner, tmp_path):
    """The store is shared by all benches: no archive may put other bytes where a file of theirs will be looked for."""
    benches.delete_now(bench=full_bench, by=owner.person)
    claimed = "f" * 64
    forged = rewritten(archive, tmp_path / "forged.zip", {f"evidence/{claimed}": b"other bytes"})
    with pytest.raises(UnreadableFile, match="whose bytes have another digest"):
        read.read(forged, owner=owner.person)
    assert not default_storage.exists(f"sha256/ff/{claimed}")


def test_a_part_that_unpacks_to_more_than_any_is_refused_before_it_is_unpacked(archive, full_bench, owner, tmp_path):
    gone(full_bench)
    path = rewritten(archive, tmp_path / "x.zip", {"certificates/scan.pdf": bytes(32 << 20)})
    with pytest.raises(UnreadableFile, match=r"certificates/scan\.pdf, [\d,]+ bytes that unpack to 33,554,432"):
        read.read(path, owner=owner.person)
    assert not Bench.objects.exists()


@pytest.mark.parametrize(
    "part", ["certificates/../../secret_key", "published/../evidence/x", "certificates/../../../x"]
)
def test_a_part_whose_path_leaves_its_folder_is_refused(part, archive, full_bench, owner, tmp_path, evidence_folder):
    gone(full_bench)
    path = rewritten(archive, tmp_path / "x.zip", {part: b"forged"})
    with pytest.raises(UnreadableFile):
        read.read(path, owner=owner.person)
    assert not Bench.objects.exists()
    assert [file for file in tmp_path.rglob("*") if file.is_file() and file.read_bytes() == b"forged"] == []


def test_a_part_elsewhere_in_the_archive_is_kept_nowhere(archive, full_bench, owner, tmp_path):
    gone(full_bench)
    read.read(rewritten(archive, tmp_path / "x.zip", {"/etc/cron.d/x": b"forged"}), owner=owner.person)
    assert [file for file in tmp_path.rglob("*") if file.is_file() and file.read_bytes() == b"forged"] == []
    assert not Path("/etc/cron.d/x").exists()
