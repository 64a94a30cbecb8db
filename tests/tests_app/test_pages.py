"""Who may see and do what on the tester's pages, and how many questions a page asks the database."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests import builders
from tests.tests_app import logs
from tests_app.actions import upload, windows
from tests_app.models import Job, Reduction, SavedMapping, Session

pytestmark = pytest.mark.django_db

READ = ["session", "files", "channels", "facts", "windows", "result", "session-document"]
WRITE = [
    "files",
    "channels",
    "facts",
    "session-edit",
    "session-remove",
    "upload-begin",
    "windows-propose",
    "window-add",
    "reduce",
    "attach",
]


@pytest.mark.parametrize("name", READ)
def test_a_reader_sees_a_session_and_nobody_else_does(
    reduction: Reduction, reader: Client, stranger: Client, visitor: Client, name: str
) -> None:
    address = reverse(name, args=[reduction.session_id])
    assert reader.get(address, follow=True).status_code == 200
    assert stranger.get(address).status_code == 404
    assert visitor.get(address).url.startswith(reverse("sign-in"))


@pytest.mark.parametrize("name", WRITE)
def test_only_a_tester_writes(
    session: Session, reader: Client, stranger: Client, visitor: Client, owner: Client, name: str
) -> None:
    address = reverse(name, args=[session.pk])
    assert reader.post(address).status_code == 403
    assert stranger.post(address).status_code == 404
    assert visitor.post(address).url.startswith(reverse("sign-in"))
    assert owner.post(address).status_code not in {403, 404} or name == "attach"


ADDRESSES: dict[str, Callable[[Reduction], list[object]]] = {
    "file-download": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "file-answer": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "file-read-as": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "file-clock": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "file-remember": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "file-apply": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "file-remove": lambda reduction: [reduction.session_id, reduction.session.files.first().pk],
    "reduction": lambda reduction: [reduction.session_id, reduction.pk],
    "season": lambda reduction: [reduction.session_id, reduction.pk],
    "reduction-json": lambda reduction: [reduction.session_id, reduction.pk],
    "reduction-document": lambda reduction: [reduction.session_id, reduction.pk],
}


@pytest.mark.parametrize("name", ADDRESSES)
def test_what_belongs_to_a_session_is_reached_through_its_own_session_only(
    reduction: Reduction, stranger: Client, tester: Client, name: str
) -> None:
    own, child = ADDRESSES[name](reduction)
    other = builders.a_session(bench=reduction.session.bench)
    post = name in {"file-answer", "file-read-as", "file-clock", "file-remember", "file-apply", "file-remove"}
    ask = "post" if post else "get"
    assert getattr(stranger, ask)(reverse(name, args=[own, child])).status_code == 404
    assert getattr(tester, ask)(reverse(name, args=[other.pk, child])).status_code == 404


def test_a_foreign_job_and_mapping_are_out_of_reach(session: Session, stranger: Client) -> None:
    job = Job.objects.create(bench=session.bench, session=session, what="reduction")
    SavedMapping.objects.create(bench=session.bench, fingerprint="1", name="Ours")
    assert stranger.get(reverse("job", args=[job.pk])).status_code == 404


def test_a_reader_is_offered_no_button_that_changes_anything(reduction: Reduction, reader: Client) -> None:
    for name in ("files", "channels", "facts", "windows", "result"):
        page = reader.get(reverse(name, args=[reduction.session_id])).content.decode()
        main = page[page.index("<main") : page.index("</main>")]
        assert main.count("<button") == main.count("data-live"), "a chart may be zoomed into by all who see it"


def test_work_resumes_at_the_first_step_that_is_not_done(session: Session, tester: Client) -> None:
    home = reverse("session", args=[session.pk])
    assert tester.get(home).url == reverse("files", args=[session.pk])
    upload.keep_files(session=session, files=logs.both(), by=tester.person)
    assert tester.get(home).url == reverse("channels", args=[session.pk])


def test_the_list_shows_the_benchs_sessions_and_finds_by_unit(session: Session, tester: Client) -> None:
    builders.a_session(bench=builders.a_bench(), name="Elsewhere")
    page = tester.get(reverse("sessions"), {"q": session.unit.model.lower()}).content.decode()
    assert session.name in page
    assert "Elsewhere" not in page
    assert "No session matches" in tester.get(reverse("sessions"), {"q": "zzz"}).content.decode()


def test_the_list_asks_as_often_for_many_sessions_as_for_one(
    session: Session, tester: Client, django_assert_max_num_queries
) -> None:
    for _ in range(20):
        builders.a_reduction(session=builders.a_session(bench=session.bench))
    with django_assert_max_num_queries(10):
        tester.get(reverse("sessions"))


@pytest.mark.parametrize("name", ["files", "channels", "facts", "windows", "result"])
def test_a_page_asks_as_often_for_many_channels_as_for_few(reduction: Reduction, tester: Client, name: str) -> None:
    session = reduction.session
    address = reverse(name, args=[session.pk])

    def asked() -> int:
        tester.get(address)  # what is drawn once and kept is kept now
        with CaptureQueriesContext(connection) as queries:
            assert tester.get(address).status_code == 200
        return len(queries)

    few = asked()
    for hour in range(3):
        more = logs.uploaded(f"more{hour}.csv", logs.room_csv(hours=1.0 + hour))
        upload.keep_files(session=session, files=[more], by=tester.person)
    windows.propose(session=session, by=tester.person)
    builders.a_reduction(session=session, supersedes=reduction)
    assert asked() <= few + 2
    assert few < 25


def test_every_page_works_on_an_empty_session(session: Session, tester: Client) -> None:
    for name in ("files", "channels", "facts", "windows", "result", "session-edit"):
        assert tester.get(reverse(name, args=[session.pk])).status_code == 200
