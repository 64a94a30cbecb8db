"""Windows: proposed, accepted, moved, added with a reason."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from reduction.errors import InvalidSession
from tests.tests_app.logs import START
from tests_app import session_document
from tests_app.actions import windows
from tests_app.models import Session, Window

pytestmark = pytest.mark.django_db

HALF_PAST, TWENTY_PAST_ONE = START + timedelta(minutes=30), START + timedelta(minutes=80)


@pytest.fixture
def proposed(confirmed_session: Session, tester: Client) -> Window:
    return windows.propose(session=confirmed_session, by=tester.person)[0]


def test_steady_windows_are_proposed_with_their_evidence(proposed: Window) -> None:
    assert (proposed.proposed, proposed.steady, proposed.accepted) == (True, True, False)
    assert all(row["passed"] and row["source"] for row in proposed.evidence)
    assert proposed.end - proposed.start > timedelta(minutes=90)


def test_only_accepted_windows_are_reduced(proposed: Window, tester: Client) -> None:
    assert session_document.to_document(proposed.session).windows == ()
    windows.accept(window=proposed, by=tester.person)
    document = session_document.to_document(proposed.session)
    assert [(window.start_utc, window.end_utc) for window in document.windows] == [(proposed.start, proposed.end)]
    windows.refuse(window=proposed, by=tester.person)
    assert session_document.to_document(proposed.session).windows == ()


def test_looking_again_keeps_what_a_person_decided(proposed: Window, tester: Client) -> None:
    windows.refuse(window=proposed, by=tester.person)
    again = windows.propose(session=proposed.session, by=tester.person)
    assert again == []
    assert proposed.session.windows.get() == proposed


def test_looking_again_replaces_what_nobody_decided(proposed: Window, tester: Client) -> None:
    windows.propose(session=proposed.session, by=tester.person)
    assert proposed.session.windows.count() == 1


def test_a_moved_window_is_the_persons_own_and_needs_their_reason(proposed: Window, tester: Client) -> None:
    ends = {"start": HALF_PAST, "end": TWENTY_PAST_ONE}
    with pytest.raises(InvalidSession, match="expected why this span is averaged"):
        windows.move(window=proposed, reason=" ", by=tester.person, **ends)
    moved = windows.move(window=proposed, reason="before the door opened", by=tester.person, **ends)
    assert (moved.proposed, moved.steady, moved.accepted, moved.evidence) == (False, False, True, [])
    assert (moved.decided_by, moved.reason) == (tester.person, "before the door opened")


@pytest.mark.parametrize(
    ("start", "end", "sentence"),
    [
        (TWENTY_PAST_ONE, HALF_PAST, "expected an end after the start"),
        (START + timedelta(days=3), START + timedelta(days=4), "expected a span inside the logs.*check the time zone"),
    ],
)
def test_ends_that_cannot_be_are_refused(confirmed_session: Session, tester: Client, start, end, sentence) -> None:
    with pytest.raises(InvalidSession, match=sentence):
        windows.add(session=confirmed_session, label="A", start=start, end=end, reason="why", by=tester.person)
    assert confirmed_session.windows.count() == 0


def test_times_are_typed_in_the_zone_of_the_session(confirmed_session: Session, tester: Client) -> None:
    Session.objects.update(time_zone="America/Denver")
    typed = {"label": "A", "start": "2026-07-14T06:30:00", "end": "2026-07-14T07:20:00", "reason": "calm"}
    tester.post(reverse("window-add", args=[confirmed_session.pk]), typed)
    window = confirmed_session.windows.get()
    assert (window.start, window.end) == (HALF_PAST, TWENTY_PAST_ONE)
    assert 'value="2026-07-14T06:30:00"' in tester.get(reverse("windows", args=[confirmed_session.pk])).content.decode()


def test_the_page_says_what_is_wrong_and_keeps_what_was_typed(confirmed_session: Session, tester: Client) -> None:
    typed = {"label": "A", "start": "2026-07-20T06:30:00", "end": "2026-07-20T07:20:00", "reason": "calm"}
    page = tester.post(reverse("window-add", args=[confirmed_session.pk]), typed)
    assert page.status_code == 422
    assert "expected a span inside the logs" in page.content.decode()
    assert 'value="2026-07-20T06:30:00"' in page.content.decode()


@pytest.mark.parametrize("posted", [{"verb": "explode"}, {}, {"verb": "move"}, {"verb": "move", "start": "yesterday"}])
def test_an_unreadable_decision_changes_nothing(proposed: Window, tester: Client, posted: dict[str, str]) -> None:
    address = reverse("window-decide", args=[proposed.session_id, proposed.pk])
    page = tester.post(address, posted, follow=True)
    assert "the two times could not be read" in page.content.decode()
    assert Window.objects.get().decided_at is None


def test_a_window_can_be_accepted_left_out_and_removed_by_its_buttons(proposed: Window, tester: Client) -> None:
    address = reverse("window-decide", args=[proposed.session_id, proposed.pk])
    for verb, accepted in (("accept", True), ("refuse", False)):
        tester.post(address, {"verb": verb})
        assert Window.objects.get().accepted is accepted
    tester.post(address, {"verb": "remove"})
    assert not Window.objects.exists()
