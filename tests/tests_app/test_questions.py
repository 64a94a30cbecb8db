"""A file that can be read in several ways is kept and asked about; nothing is reduced before the answer."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from reduction import session as doc
from reduction.errors import InvalidSession, ReductionError
from tests.tests_app import logs
from tests_app import session_document
from tests_app.actions import documents, mapping, reduce, upload, windows
from tests_app.actions import questions as question_actions
from tests_app.models import Channel, Evidence, Session, SessionFile

pytestmark = pytest.mark.django_db

DATES = "time,room_C\n07/08/2026 18:05,24.6\n07/08/2026 18:06,24.7\n"
POINTS = "Zeit;Leistung W\n14.07.2026 14:05:30;1.204\n14.07.2026 14:05:40;1.187\n"
BOTH = "Zeit;Leistung W\n07/08/2026 14:05:30;1.204\n07/08/2026 14:05:40;1.187\n"
LYING = "time,outdoor_C\n2026-07-14T18:05:00Z,78.9\n2026-07-14T18:06:00Z,79.1\n"
MEANS = "time,avg_W\n2026-07-14T18:10:00Z,593\n2026-07-14T18:15:00Z,594\n"


def kept(session: Session, tester: Client, content: str, name: str = "log.csv") -> SessionFile:
    taken = upload.keep_files(session=session, files=[logs.uploaded(name, content)], by=tester.person)
    assert taken.refused == []
    return taken.kept[0]


def answered(session: Session, tester: Client, file: SessionFile, what: str, answer: str) -> SessionFile:
    address = reverse("file-answer", args=[session.pk, file.pk])
    response = tester.post(address, {"what": what, "answer": answer})
    assert response.status_code == 302
    return SessionFile.objects.get(pk=file.pk)


def test_dates_of_either_order_are_kept_and_asked_with_both_readings(session: Session, tester: Client) -> None:
    file = kept(session, tester, DATES)
    page = tester.get(reverse("files", args=[session.pk])).content.decode()
    for sentence in (
        "Is the day or the month first?",
        "07/08/2026 18:05 fits both orders and no row of the column settles it.",
        "Day first: 07/08/2026 18:05 is 7 August 2026",
        "Month first: 07/08/2026 18:05 is 8 July 2026",
        "07/08/2026 18:06,24.7",
    ):
        assert sentence in page
    assert (Evidence.objects.count(), file.channels.count()) == (1, 0)


@pytest.mark.parametrize(
    ("answer", "first"), [("day_first", "2026-08-07T18:05:00Z"), ("month_first", "2026-07-08T18:05:00Z")]
)
def test_the_answer_reads_the_file_and_is_part_of_its_profile(
    session: Session, tester: Client, answer: str, first: str
) -> None:
    file = answered(session, tester, kept(session, tester, DATES), "date_order", answer)
    assert file.profile == {"date_order": answer}
    assert file.reading["first"] == first.replace("Z", "+00:00")
    assert file.reading["asks"] is None
    assert [channel.column for channel in file.channels.all()] == ["room_C"]
    assert session_document.to_document(session).files[0].profile.date_order == answer


def test_an_answer_may_lead_to_the_next_question(session: Session, tester: Client) -> None:
    file = kept(session, tester, BOTH)
    asked = []
    for what, answer in (("decimal", "."), ("date_order", "day_first")):
        asked.append(file.reading["asks"]["what"])
        file = answered(session, tester, file, what, answer)
    assert asked == ["decimal", "date_order"]
    assert file.reading["asks"] is None
    assert file.reading["columns"][0]["high"] == 1.204


def test_a_point_that_groups_thousands_is_a_thousand_times_more(session: Session, tester: Client) -> None:
    file = kept(session, tester, POINTS)
    assert "The point groups thousands" in tester.get(reverse("files", args=[session.pk])).content.decode()
    assert answered(session, tester, file, "decimal", ",").reading["columns"][0]["high"] == 1204.0


def test_nothing_is_reduced_before_the_answer(confirmed_session: Session, tester: Client) -> None:
    file = kept(confirmed_session, tester, DATES)
    sentence = r"log\.csv: found “an open question \(Is the day or the month first\?\)”, .* Answer it under Files"
    for work in (reduce.run_and_store, windows.propose):
        with pytest.raises(InvalidSession, match=sentence):
            work(session=confirmed_session, by=tester.person)
    page = tester.get(reverse("result", args=[confirmed_session.pk])).content.decode()
    assert "Answer it under Files" in page
    assert reverse("reduce", args=[confirmed_session.pk]) not in page
    answered(confirmed_session, tester, file, "date_order", "day_first")
    Channel.objects.filter(file=file).update(role=doc.Role.IGNORED, confirmed=True)
    assert reduce.run_and_store(session=confirmed_session, by=tester.person).points.exists()


def test_an_answer_that_was_not_asked_for_is_refused(session: Session, tester: Client) -> None:
    file = kept(session, tester, DATES)
    for what, answer in (("date_order", "backwards"), ("decimal", "."), ("sheet", "1")):
        with pytest.raises(InvalidSession, match="expected an answer that the file asks for"):
            question_actions.answer(file=file, what=what, answer=answer, by=tester.person)
    assert SessionFile.objects.get().profile == {}


def test_a_heading_that_lies_is_asked_and_its_answer_reaches_a_confirmed_channel(
    session: Session, tester: Client
) -> None:
    file = kept(session, tester, LYING)
    channels = list(file.channels.all())
    assert channels[0].quantity_unit == "°C"
    mapping.confirm(channels=channels, choices={channels[0].pk: {}}, by=tester.person)
    page = tester.get(reverse("files", args=[session.pk])).content.decode()
    assert "Which unit is “outdoor_C” in?" in page
    assert "Until you answer, the file is read in the likeliest way" in page
    file = answered(session, tester, file, "unit of outdoor_C", "°F")
    assert file.profile == {"units": {"outdoor_C": "°F"}}
    assert [log["questions"] for log in file.reading["logs"]] == [[]]
    assert Channel.objects.get().quantity_unit == "°F"


def test_what_the_stamp_of_a_mean_marks_is_asked_and_answered(session: Session, tester: Client) -> None:
    file = kept(session, tester, MEANS)
    assert "What does a time stamp mark?" in tester.get(reverse("files", args=[session.pk])).content.decode()
    file = answered(session, tester, file, "stamp", "interval_start")
    assert file.profile == {"stamp": "interval_start"}
    assert "What does a time stamp mark?" not in tester.get(reverse("files", args=[session.pk])).content.decode()


def test_a_large_file_read_in_a_process_of_its_own_asks_too(
    session: Session, tester: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests_app.actions.reading.APART_BYTES", 10)
    assert kept(session, tester, DATES).reading["asks"]["what"] == "date_order"


def document_of(profile: dict[str, str]) -> str:
    return json.dumps(
        {
            "name": "Moved",
            "unit": {"model": "W8", "kind": "window"},
            "room": {"volume_m3": 34, "construction": "light"},
            "files": [{"path": "log.csv", "profile": profile}],
        }
    )


def test_a_document_without_the_answer_is_refused_with_the_question_and_leaves_nothing(tester: Client) -> None:
    bench = tester.person.memberships.get().bench
    with pytest.raises(ReductionError, match="expected a date that can be read in one way only") as raised:
        documents.bring_in(
            bench=bench,
            document=documents.parse(document_of({})),
            files=[logs.uploaded("log.csv", DATES)],
            by=tester.person,
        )
    assert raised.value.question.options == ("day_first", "month_first")
    assert (Session.objects.count(), SessionFile.objects.count()) == (0, 0)


def test_a_document_brought_in_by_a_person_keeps_the_file_and_asks(tester: Client) -> None:
    files = {
        "document": logs.uploaded("SESSION.json", document_of({})),
        "files": logs.uploaded("log.csv", DATES),
    }
    page = tester.post(reverse("session-import"), files, follow=True).content.decode()
    assert "Is the day or the month first?" in page
