"""Bad input ends in a sentence that says what to do; nothing is half saved and nothing is a 500."""

from __future__ import annotations

import os
import random
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from tests.tests_app import logs
from tests_app.actions import upload
from tests_app.models import Channel, Evidence, Job, Reduction, Session, SessionFile

pytestmark = pytest.mark.django_db

WIDE_HEADER = ",".join(f"c{i}" for i in range(300_000))
BAD_FILES = {
    "empty": (b"", "found “no bytes”"),
    "blanks only": (b" \n \n\n", "bad.csv"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 64, "bad.csv"),
    "random bytes": (random.Random(7).randbytes(20_000), "bad.csv"),
    "header only": (b"time,room_C,ac_W\n", "bad.csv"),
    "no time": (b"room_C,ac_W\n21.0,500\n21.1,501\n", "bad.csv"),
    "unreadable time": (b"time,room_C\nlately,21.0\nsoon,21.1\n", "bad.csv"),
    "prose": (b"Dear reader,\nthe logger was off today.\nYours\n", "bad.csv"),
    "a page": (b"<!doctype html><html><body><table><tr><td>1</td></tr></table></body></html>", "bad.csv"),
    "a broken archive": (b"PK\x03\x04" + b"\x00" * 400, "bad.csv"),
    "no numbers": (b"time,room\n2026-07-14T12:00:00Z,warm\n2026-07-14T12:01:00Z,cold\n", "bad.csv"),
    "hundreds of thousands of columns": (f"time,{WIDE_HEADER}\n".encode(), "bad.csv"),
}


def said(page: Any) -> str:
    return page.content.decode()


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_bad_file_is_refused_in_words_and_leaves_nothing(
    session: Session, tester: Client, settings: Any, name: str
) -> None:
    content, sentence = BAD_FILES[name]
    page = tester.post(reverse("files", args=[session.pk]), {"files": logs.uploaded("bad.csv", content)}, follow=True)
    assert page.status_code == 200
    assert sentence in said(page)
    assert "Nothing of this file was kept." in said(page)
    assert not SessionFile.objects.exists()
    assert not Evidence.objects.exists()
    assert [path for path in settings.MEDIA_ROOT.rglob("*") if path.is_file()] == []
    assert list(settings.PARTIAL_UPLOAD_DIR.iterdir()) == []


def test_columns_that_mean_nothing_are_shown_and_left_to_the_person(session: Session, tester: Client) -> None:
    content = "time,alpha,beta\n" + "".join(f"2026-07-14T12:{i:02}:00Z,{i},{i * 7 % 5}\n" for i in range(40))
    page = tester.post(reverse("files", args=[session.pk]), {"files": logs.uploaded("odd.csv", content)}, follow=True)
    assert "alpha" in said(page)
    assert set(Channel.objects.values_list("confirmed", flat=True)) == {False}


def test_no_file_chosen_is_said_at_the_field(session: Session, tester: Client) -> None:
    page = tester.post(reverse("files", args=[session.pk]))
    assert page.status_code == 422
    assert "Choose at least one file." in said(page)


def reduced(session: Session, tester: Client) -> str:
    """Upload is done; reduce as a person would and return the page they end on."""
    progress = tester.post(reverse("reduce", args=[session.pk]))
    return said(tester.get(progress.url, follow=True))


def test_without_the_units_power_the_capacity_stands_alone_or_a_sentence_says_so(
    session: Session, tester: Client
) -> None:
    content = logs.power_csv().replace("ac_W", "heater_2_W")
    files = [logs.uploaded("room.csv", logs.room_csv()), logs.uploaded("plugs.csv", content)]
    upload.keep_files(session=session, files=files, by=tester.person)
    Channel.objects.filter(role="unit_power").update(role="other_power")
    Channel.objects.update(confirmed=True)
    page = reduced(session, tester)
    assert Job.objects.get().state in {"done", "failed"}
    assert "power" in page


def test_files_that_never_overlap_say_so(session: Session, tester: Client) -> None:
    from datetime import timedelta

    later = logs.power_csv(start=logs.START + timedelta(days=3))
    files = [logs.uploaded("room.csv", logs.room_csv()), logs.uploaded("power.csv", later)]
    upload.keep_files(session=session, files=files, by=tester.person)
    page = reduced(session, tester)
    assert "No window is steady" in page or "overlap" in page
    assert not any(point.usable for row in Reduction.objects.all() for point in row.points.all())


def test_a_unit_that_draws_nothing_gives_no_efficiency(session: Session, tester: Client) -> None:
    content = logs.power_csv().replace("650.0", "0.0").replace("651.0", "0.0")
    files = [logs.uploaded("room.csv", logs.room_csv()), logs.uploaded("power.csv", content)]
    upload.keep_files(session=session, files=files, by=tester.person)
    Channel.objects.filter(column="ac_W").update(role="unit_power")
    Channel.objects.filter(column="heater_W").update(role="heater_constant_power")
    Channel.objects.update(confirmed=True)
    reduced(session, tester)
    assert Job.objects.get().state == "done"
    for row in Reduction.objects.all():
        assert [point.eer_btu_per_wh for point in row.points.all() if point.usable and point.eer_btu_per_wh] == []


def test_a_role_whose_unit_cannot_be_ends_as_a_sentence(confirmed_session: Session, tester: Client) -> None:
    Channel.objects.filter(column="heater_W").update(role="room_temp")
    page = reduced(confirmed_session, tester)
    assert "found “W for the role room_temp”, expected a unit of temperature" in page
    windows = said(tester.get(reverse("windows", args=[confirmed_session.pk])))
    assert "expected a unit of temperature" in windows


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("time_zone", "Mars/Olympus", "is not in the IANA list"),
        ("time_zone", "../../etc/passwd", "is not in the IANA list"),
        ("name", "", "This field is required"),
        ("name", "x" * 200, "at most 120 characters"),
        ("unit", "not-a-unit", "valid"),
        ("purpose", "fun", "valid choice"),
    ],
)
def test_a_session_that_cannot_be_is_refused_at_its_field(
    session: Session, tester: Client, field: str, value: str, sentence: str
) -> None:
    fields = {"name": "New", "unit": "", "room": "", "purpose": "cooling", "time_zone": "UTC"} | {field: value}
    page = tester.post(reverse("session-new"), fields)
    assert page.status_code == 422
    assert sentence in said(page)
    assert Session.objects.count() == 1


@pytest.mark.parametrize("offset", ["", "-1", "x", "1e3", "99999999999999999999"])
def test_a_part_at_no_byte_is_refused(session: Session, tester: Client, offset: str) -> None:
    begun = upload.begin(session=session, name="a.csv", size_bytes=10, by=tester.person)
    address = reverse("upload-part", args=[session.pk, begun.pk])
    page = tester.post(f"{address}?offset={offset}", b"x", content_type="application/octet-stream")
    assert page.status_code in {200, 409, 422}
    begun.refresh_from_db()
    assert begun.received_bytes == 0


@pytest.mark.parametrize("size", ["", "0", "-5", "ten", str(10**12)])
def test_an_upload_of_no_possible_size_is_refused(session: Session, tester: Client, size: str) -> None:
    page = tester.post(reverse("upload-begin", args=[session.pk]), {"name": "a.csv", "size_bytes": size})
    assert page.status_code == 422
    assert page.json()["errors"]


def mutated(content: bytes, seed: int) -> bytes:
    """Flip, cut, double or swap parts of a file."""
    rng = random.Random(seed)
    data = bytearray(content)
    for _ in range(rng.randint(1, 6)):
        at, length = rng.randrange(len(data) or 1), rng.randint(1, 400)
        match rng.randrange(6):
            case 0:
                data[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                del data[at:]
            case 2:
                data[at:at] = data[at : at + length]
            case 3:
                del data[at : at + length]
            case 4:
                data[:200] = data[200:400] + data[:200]
            case _:
                data[at:at] = rng.choice([b"\x00", b",,,", b";", b'"', b"\xff\xfe", b"\r", b"1e999", b"-", b"\t" * 50])
    return bytes(data)


MUTATIONS = int(os.environ.get("UPLOAD_FUZZ", "60"))  # the long run takes 2000


@pytest.mark.parametrize("part", range(4))
def test_no_mutated_file_breaks_the_upload_page(session: Session, tester: Client, part: int) -> None:
    originals = [logs.room_csv(hours=0.3).encode(), logs.power_csv(hours=0.3).encode()]
    address = reverse("files", args=[session.pk])
    for seed in range(part, MUTATIONS, 4):
        content = mutated(originals[seed % 2], seed)
        sent = tester.post(address, {"files": logs.uploaded(f"m{seed}.csv", content)})
        assert sent.status_code == 302, seed
        assert tester.get(address).status_code == 200, seed
        SessionFile.objects.all().delete()


def test_a_file_too_large_for_the_form_is_refused_in_words(session: Session, tester: Client, settings: Any) -> None:
    settings.MAX_UPLOAD_BYTES = 3 << 20
    large = logs.uploaded("year.csv", b"time,room_C\n" + b"2026-07-14T12:00:00Z,21.0\n" * 160_000)
    page = tester.post(reverse("files", args=[session.pk]), {"files": large}, follow=True)
    assert "year.csv: found “more than 3 MB”, expected a smaller file. Split it by day" in said(page)
    assert not Evidence.objects.exists()


def test_a_heading_as_long_as_a_page_is_refused_in_words(session: Session, tester: Client) -> None:
    content = f"time,room_C {'x' * 5000}\n" + "".join(f"2026-07-14T12:{i:02}:00Z,21.{i % 10}\n" for i in range(30))
    page = tester.post(reverse("files", args=[session.pk]), {"files": logs.uploaded("long.csv", content)}, follow=True)
    assert "expected a name of at most 300 characters" in said(page)
    assert not Evidence.objects.exists()


def test_a_search_for_nothing_printable_finds_nothing(tester: Client) -> None:
    assert tester.get(reverse("sessions"), {"q": "\x00"}).status_code == 200
