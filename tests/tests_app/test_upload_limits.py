"""What may come in through a form or the API: how large, how many at once, and of what kind."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from tests import builders, logs
from tests_app.models import Evidence, Session
from units.actions import tokens
from units.models import Bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(bench: Bench) -> Session:
    return builders.a_session(bench=bench)


def sent(client: Client, session: Session, *files: ContentFile) -> tuple[int, str]:
    answer = client.post(reverse("files", args=[session.pk]), {"files": list(files)}, follow=True)
    return answer.status_code, answer.content.decode()


@pytest.mark.parametrize("in_memory", [True, False])
def test_a_file_beyond_the_limit_is_refused_in_words_and_not_kept(
    in_memory: bool, session: Session, tester: Client, settings
) -> None:
    settings.MAX_UPLOAD_BYTES = 1 << 20
    settings.FILE_UPLOAD_MAX_MEMORY_SIZE = (1 << 24) if in_memory else 1000
    status, page = sent(tester, session, ContentFile(logs.temperatures() + b"\n" * (1 << 20), name="long.csv"))
    assert status == 200
    assert "more than 1 MB" in page
    assert "Split it by day" in page
    assert not Evidence.objects.exists()


def test_a_file_at_the_limit_is_kept(session: Session, tester: Client, settings) -> None:
    settings.MAX_UPLOAD_BYTES = len(logs.temperatures())
    sent(tester, session, ContentFile(logs.temperatures(), name="room.csv"))
    assert Evidence.objects.get().size_bytes == settings.MAX_UPLOAD_BYTES


def several(count: int) -> list[ContentFile]:
    return [ContentFile(logs.temperatures(90 + n), name=f"{n}.csv") for n in range(count)]


def test_more_files_than_may_come_at_once_are_refused_in_words(session: Session, tester: Client, settings) -> None:
    assert 0 < settings.DATA_UPLOAD_MAX_NUMBER_FILES <= 100, "what an installation begins with"
    settings.DATA_UPLOAD_MAX_NUMBER_FILES = 3
    status, page = sent(tester, session, *several(4))
    assert status == 400
    assert "Too many files came at once. Send at most 3, and the rest after." in page
    assert not Evidence.objects.exists()
    assert sent(tester, session, *several(3))[0] == 200
    assert Evidence.objects.count() == 3


def test_a_program_that_sends_too_many_files_is_told_so(tester: Client, settings) -> None:
    settings.DATA_UPLOAD_MAX_NUMBER_FILES = 1
    files = [ContentFile(b"t,a\n", name=f"{n}.csv") for n in range(2)]
    answer = tester.post(reverse("api-sessions"), {"document": "{}", "files": files})
    assert answer.status_code == 400
    assert "Send at most 1" in json.dumps(answer.json())


def test_a_session_document_larger_than_any_is_not_read_into_memory(tester: Client) -> None:
    document = ContentFile(b"{" + b" " * 5_000_000, name="SESSION.json")
    files = ContentFile(b"t,a\n", name="a.csv")
    answer = tester.post(reverse("session-import"), {"document": document, "files": files})
    assert answer.status_code == 422
    assert "This file is larger than 5 MB, which no session document is." in answer.text


JSON, FORM = "application/json", "application/x-www-form-urlencoded"


@pytest.mark.parametrize(
    ("name", "content_type"), [("api-plan", JSON), ("api-units", JSON), ("api-units", FORM), ("unit-new", FORM)]
)
def test_a_text_larger_than_any_is_refused_in_words(name: str, content_type: str, tester: Client, bench: Bench) -> None:
    _, secret = tokens.make(bench=bench, label="logger", token_role="owner", days=7, by=tester.person)
    bearer = {"Authorization": f"Bearer {secret}"}
    client, headers = (Client(), bearer) if name.startswith("api") else (tester, {})
    answer = client.post(reverse(name), f'"{"x" * 3_000_000}"', content_type=content_type, headers=headers)
    assert answer.status_code == 400
    assert "Too much came at once. Send at most 2,560 kB beside files." in answer.content.decode()


def page_of(title: str) -> bytes:
    return f"<!doctype html><title>{title}</title><script>alert(1)</script>".encode()


def program_in_a_zip() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("run.exe", b"MZ\x90\x00" + bytes(512))
    return packed.getvalue()


KINDS = {
    "a program": (b"\x7fELF\x02\x01\x01" + bytes(512), "log.csv"),
    "a program in a zip": (program_in_a_zip(), "log.zip"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, "log.csv"),
    "a page with script": (page_of("log"), "log.csv"),
    "a letter": (b"%PDF-1.7\n" + bytes(range(256)), "log.csv"),
    "nothing": (b"", "log.csv"),
}


@pytest.mark.parametrize(("data", "name"), KINDS.values(), ids=KINDS)
def test_what_is_no_log_is_refused_by_its_content_whatever_its_name(
    data: bytes, name: str, session: Session, tester: Client
) -> None:
    status, page = sent(tester, session, ContentFile(data, name=name))
    assert status == 200
    assert f"{name}" in page
    assert "Nothing of this file was kept." in page
    assert not Evidence.objects.exists()


def test_a_kept_file_is_handed_out_as_a_file_and_never_shown_as_a_page(session: Session, tester: Client) -> None:
    sent(tester, session, ContentFile(logs.temperatures(), name="room.html"))
    file = session.files.get()
    answer = tester.get(reverse("file-download", args=[session.pk, file.pk]))
    assert b"".join(answer.streaming_content) == logs.temperatures()
    assert answer.headers["Content-Type"] == "application/octet-stream"
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
