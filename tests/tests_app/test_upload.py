"""Files come in, are read before they are kept, and can be resumed."""

from __future__ import annotations

import gzip
import io
import zipfile
from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from reduction.errors import InvalidSession, UnreadableFile
from tests import builders
from tests.tests_app import logs
from tests_app.actions import mapping, reading, upload
from tests_app.models import Channel, Evidence, PartialUpload, Session, SessionFile

pytestmark = pytest.mark.django_db


def roles(session: Session) -> dict[str, str]:
    return dict(Channel.objects.filter(file__session=session).values_list("column", "role"))


def test_what_is_read_is_shown_with_its_evidence(read_session: Session) -> None:
    assert roles(read_session) == {
        "room_C": "room_temp",
        "supply_C": "supply_temp",
        "return_C": "return_temp",
        "outdoor_C": "outdoor_temp",
        "room_RH": "room_rh",
        "ac_W": "unit_power",
        "heater_W": "heater_constant_power",
    }
    channel = Channel.objects.get(column="outdoor_C")
    assert channel.quantity_unit == "°C"
    assert [guess["what"] for guess in channel.guesses] == ["role", "unit", "kind"]
    assert not channel.confirmed


def test_roles_are_proposed_over_all_files_of_the_session_together(session: Session, tester: Client) -> None:
    rows = [row.split(",") for row in logs.power_csv().replace("heater_W", "plug 2").splitlines()]
    heater, unit = ("\n".join(f"{row[0]},{row[column]}" for row in rows) for column in (2, 1))
    upload.keep_files(session=session, files=[logs.uploaded("plug2.csv", heater)], by=tester.person)
    alone = roles(session)["plug 2"]
    upload.keep_files(session=session, files=[logs.uploaded("unit.csv", unit)], by=tester.person)
    assert (alone, roles(session)["plug 2"]) == ("unit_power", "heater_constant_power")


def test_the_same_file_twice_is_one(read_session: Session, tester: Client) -> None:
    again = upload.keep_files(
        session=read_session, files=[logs.uploaded("copy.csv", logs.room_csv())], by=tester.person
    )
    assert [file.name for file in again.known] == ["room.csv"]
    assert (SessionFile.objects.count(), Evidence.objects.count()) == (2, 2)


def test_the_same_file_in_two_sessions_of_a_bench_is_kept_once(read_session: Session, tester: Client) -> None:
    other = builders.a_session(bench=read_session.bench)
    upload.keep_files(session=other, files=logs.both(), by=tester.person)
    assert (SessionFile.objects.count(), Evidence.objects.count()) == (4, 2)


def test_another_file_of_the_same_name_gets_a_number(read_session: Session, tester: Client) -> None:
    other = logs.uploaded("room.csv", logs.room_csv(hours=1.0))
    taken = upload.keep_files(session=read_session, files=[other], by=tester.person)
    assert [file.name for file in taken.kept] == ["room (2).csv"]


def test_one_bad_file_does_not_stop_the_others_and_leaves_nothing(session: Session, tester: Client) -> None:
    files = [*logs.both(), logs.uploaded("photo.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40)]
    taken = upload.keep_files(session=session, files=files, by=tester.person)
    assert [file.name for file in taken.kept] == ["room.csv", "power.csv"]
    assert [error.place.file for error in taken.refused] == ["photo.csv"]
    assert Evidence.objects.count() == 2


def test_an_archive_of_several_logs_is_one_file_with_all_their_channels(session: Session, tester: Client) -> None:
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("room.csv", logs.room_csv())
        packed.writestr("power.csv", logs.power_csv())
    upload.keep_files(session=session, files=[logs.uploaded("both.zip", archive.getvalue())], by=tester.person)
    members = set(Channel.objects.values_list("log", "file__name"))
    assert members == {("both.zip/room.csv", "both.zip"), ("both.zip/power.csv", "both.zip")}
    assert roles(session)["ac_W"] == "unit_power"


def test_a_packed_file_is_kept_packed(session: Session, tester: Client) -> None:
    packed = gzip.compress(logs.room_csv().encode(), mtime=0)
    taken = upload.keep_files(session=session, files=[logs.uploaded("room.csv.gz", packed)], by=tester.person)
    given = tester.get(reverse("file-download", args=[session.pk, taken.kept[0].pk]))
    assert b"".join(given.streaming_content) == packed


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("C:\\logs\\yard 7.csv", "yard 7.csv"),
        ("../../etc/passwd", "passwd"),
        ("a\x00b\n.csv", "ab.csv"),
        ("...", "file"),
        ("x" * 300 + ".csv.gz", "x" * 193 + ".csv.gz"),
    ],
)
def test_a_name_keeps_nothing_that_could_lead_elsewhere(sent: str, kept: str) -> None:
    assert upload.safe_name(sent) == kept


def test_large_files_are_read_in_a_process_of_their_own_alike(session: Session, tester: Client, monkeypatch) -> None:
    monkeypatch.setattr(reading, "APART_BYTES", 1)
    files = [*logs.both(), logs.uploaded("prose.csv", "Dear reader,\nno log today.\n")]
    taken = upload.keep_files(session=session, files=files, by=tester.person)
    apart = [file.reading for file in taken.kept]
    assert [error.place.file for error in taken.refused] == ["prose.csv"]
    monkeypatch.undo()
    assert [file.reading for file in mapping.read_again(session=session, by=tester.person).values()] == apart


# --- in parts ------------------------------------------------------------------------------------------


@pytest.fixture
def begun(session: Session, tester: Client) -> PartialUpload:
    content = logs.room_csv().encode()
    return upload.begin(session=session, name="room.csv", size_bytes=len(content), by=tester.person)


def send(begun: PartialUpload, offset: int, part: bytes) -> PartialUpload:
    return upload.receive(upload=begun, offset=offset, part=ContentFile(part), by=begun.started_by)


def test_a_file_in_parts_becomes_the_file(begun: PartialUpload) -> None:
    content = logs.room_csv().encode()
    send(begun, 0, content[:5000])
    send(begun, 5000, content[5000:])
    taken = upload.finish(upload=begun, by=begun.started_by)
    assert [file.evidence.size_bytes for file in taken.kept] == [len(content)]
    assert PartialUpload.objects.count() == 0


def test_a_broken_upload_goes_on_where_it_stopped(begun: PartialUpload) -> None:
    send(begun, 0, b"x" * 100)
    same = upload.begin(session=begun.session, name="room.csv", size_bytes=begun.size_bytes, by=begun.started_by)
    assert (same.pk, same.received_bytes) == (begun.pk, 100)


def test_a_part_that_came_already_is_taken_as_read(begun: PartialUpload) -> None:
    send(begun, 0, b"x" * 100)
    assert send(begun, 0, b"x" * 100).received_bytes == 100


@pytest.mark.parametrize(("offset", "length"), [(50, 10), (0, 10**6)])
def test_a_part_that_does_not_fit_is_refused(begun: PartialUpload, offset: int, length: int) -> None:
    with pytest.raises(InvalidSession, match="expected the part at byte 0"):
        send(begun, offset, b"x" * length)


def test_an_unfinished_upload_cannot_be_finished(begun: PartialUpload) -> None:
    send(begun, 0, b"x" * 100)
    with pytest.raises(InvalidSession, match="the rest is still missing"):
        upload.finish(upload=begun, by=begun.started_by)
    assert PartialUpload.objects.count() == 1


def test_an_upload_that_turns_out_unreadable_leaves_nothing(session: Session, tester: Client) -> None:
    begun = upload.begin(session=session, name="noise.bin", size_bytes=4096, by=tester.person)
    send(begun, 0, bytes(range(256)) * 16)
    taken = upload.finish(upload=begun, by=tester.person)
    assert len(taken.refused) == 1
    assert (PartialUpload.objects.count(), Evidence.objects.count()) == (0, 0)


def test_an_upload_nobody_goes_on_with_expires(begun: PartialUpload) -> None:
    send(begun, 0, b"x" * 100)
    later = datetime.now(UTC) + upload.PARTIAL_LIFETIME + timedelta(minutes=1)
    assert (upload.expire(now=later - timedelta(minutes=2)), upload.expire(now=later)) == (0, 1)
    assert PartialUpload.objects.count() == 0


def test_a_file_larger_than_this_place_takes_is_refused_before_its_first_byte(session: Session, tester: Client) -> None:
    with pytest.raises(UnreadableFile, match="more than 256 MB"):
        upload.begin(session=session, name="year.csv", size_bytes=10**9, by=tester.person)


def test_a_browser_sends_parts_and_reads_where_it_stands(session: Session, tester: Client) -> None:
    content = logs.room_csv().encode()
    begun = tester.post(
        reverse("upload-begin", args=[session.pk]), {"name": "room.csv", "size_bytes": len(content)}
    ).json()
    half = tester.post(f"{begun['part_url']}?offset=0", content[:9000], content_type="application/octet-stream").json()
    assert half["received"] == 9000
    assert tester.get(begun["part_url"]).json()["received"] == 9000
    skipped = tester.post(f"{begun['part_url']}?offset=9999", b"x", content_type="application/octet-stream")
    assert (skipped.status_code, skipped.json()["received"]) == (409, 9000)
    tester.post(f"{begun['part_url']}?offset=9000", content[9000:], content_type="application/octet-stream")
    assert tester.post(begun["finish_url"]).json()["name"] == "room.csv"


def test_nobody_else_can_go_on_with_an_upload(begun: PartialUpload, stranger: Client, reader: Client) -> None:
    address = reverse("upload-part", args=[begun.session_id, begun.pk])
    assert stranger.get(address).status_code == 404
    assert reader.post(f"{address}?offset=0", b"x", content_type="application/octet-stream").status_code == 403


@pytest.mark.parametrize(
    ("heading", "place"), [("Hall (°F)", "Hall"), ("Hall [°F]", "Hall"), ("Hall east (°F)", "Hall east")]
)
def test_a_neighbours_place_is_its_name_without_the_unit_of_the_heading(
    heading: str, place: str, session: Session, tester: Client
) -> None:
    rows = (f"2026-07-14T18:05:{second}Z,74.{second % 3},640" for second in range(10, 50, 10))
    text = "\n".join([f"time,{heading},AC (W)", *rows])
    upload.keep_files(session=session, files=[logs.uploaded("log.csv", text.encode())], by=tester.person)
    channel = Channel.objects.get(column=heading)
    assert (channel.role, channel.place) == ("adjacent_temp", place)
