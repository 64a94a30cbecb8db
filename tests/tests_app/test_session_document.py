"""Rows and the session document say the same."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from reduction import session as doc
from reduction.errors import InvalidSession
from reduction.run import reduce_session
from tests import builders
from tests.tests_app import logs
from tests_app import evidence_store, session_document
from tests_app.actions import documents, mapping, reduce, sessions, windows
from tests_app.models import Channel, Evidence, Session
from units.models import CalibrationRecord, RoomValue, Unit

pytestmark = pytest.mark.django_db


TWENTY_PAST, TWENTY_PAST_ONE = "2026-07-14T12:20:00Z", "2026-07-14T13:20:00Z"
WEIGHED = {"what": "condensate", "mass_kg": 0.4, "u95_kg": 0.01, "start_utc": TWENTY_PAST, "end_utc": TWENTY_PAST_ONE}
FACTS = {
    "fixed_loads": [{"what": "fan", "power_w": 50.0, "u95_w": 1.5}],
    "people": [{"count": 1, "start_utc": "2026-07-14T12:10:00Z", "end_utc": TWENTY_PAST}],
    "solar": [{"power_w": 20.0, "u95_w": 10.0}],
    "moisture": {"humidifier": "evaporative", "weighings": [WEIGHED]},
    "events": [{"time_utc": "2026-07-14T12:05:00Z", "what": "door", "kind": "door"}],
    "reduction_settings": {"set_room_temp_c": 26.0, "altitude_m": 700.0},
    "unit_facts": {"measured_air_flow_m3_per_h": 410.0, "measured_air_flow_u95_m3_per_h": 30.0},
    "heater_kind": "fan_forced",
    "notes": "calm day",
}


@pytest.fixture
def full_session(confirmed_session: Session, tester: Client) -> Session:
    """Return a session that uses every part of the document."""
    sessions.state_facts(session=confirmed_session, facts=FACTS, by=tester.person)
    plug = builders.an_instrument(bench=confirmed_session.bench, name="plug B")
    row = Channel.objects.get(column="heater_W")
    mapping.confirm(channels=[row], choices={row.pk: {"instrument": plug, "placement_u_c": 0.1}}, by=tester.person)
    file = confirmed_session.files.get(name="power.csv")
    mapping.set_clock(file=file, clock={"offset_s": 2.0, "reason": "heater edge"}, by=tester.person)
    window = windows.propose(session=confirmed_session, by=tester.person)[0]
    windows.accept(window=window, by=tester.person)
    return confirmed_session


def test_a_session_moves_to_another_bench_and_means_the_same(full_session: Session, stranger: Client) -> None:
    document = session_document.to_document(full_session)
    sent = doc.Session.model_validate_json(document.model_dump_json())
    bench = stranger.person.memberships.get().bench
    moved = documents.bring_in(bench=bench, document=sent, files=logs.both(), by=stranger.person)
    assert session_document.to_document(moved) == document
    there = reduce.run_and_store(session=moved, by=stranger.person)
    here = reduce.run_and_store(session=full_session, by=stranger.person)
    assert there.input_sha256 == here.input_sha256
    assert there.points.get().detail == here.points.get().detail


def test_the_page_and_the_command_line_reduce_alike(full_session: Session, tester: Client) -> None:
    document = session_document.to_document(full_session)
    with evidence_store.folder_of(full_session.files.select_related("evidence")) as folder:
        by_hand = reduce_session(document, base=folder)
    stored = reduce.run_and_store(session=full_session, by=tester.person)
    assert stored.result == by_hand.model_dump(mode="json")


def test_a_document_without_channels_leaves_them_to_the_reader(read_session: Session, tester: Client) -> None:
    assert session_document.to_document(read_session).channels == ()
    result = reduce.run_and_store(session=read_session, by=tester.person)
    assert result.findings.filter(code="roles_guessed").exists()


def test_channels_added_later_must_be_confirmed_before_a_reduction(confirmed_session: Session, tester: Client) -> None:
    Channel.objects.filter(column="room_RH").update(confirmed=False)
    with pytest.raises(InvalidSession, match=r"1 channels that nobody confirmed \(room_RH\)"):
        reduce.run_and_store(session=confirmed_session, by=tester.person)


def test_the_room_is_the_one_known_on_the_day_of_the_test(confirmed_session: Session) -> None:
    room = confirmed_session.room
    for day, ua in ((date(2026, 7, 14), 15.0), (date(2026, 7, 15), 99.0)):
        RoomValue.objects.create(room=room, valid_from=day, surfaces=[surface(ua)])
    assert session_document.room_of(confirmed_session).surfaces[0].ua_w_per_k == 15.0


def test_a_room_found_only_later_is_better_than_none(confirmed_session: Session) -> None:
    confirmed_session.room.values.all().delete()
    RoomValue.objects.create(room=confirmed_session.room, valid_from=date(2027, 1, 1), surfaces=[surface(12.0)])
    assert session_document.room_of(confirmed_session).surfaces[0].ua_w_per_k == 12.0


def surface(ua_w_per_k: float) -> dict[str, object]:
    return {"to": "outdoor", "ua_w_per_k": ua_w_per_k, "u95_w_per_k": 2.0}


def test_a_calibration_counts_from_its_day_on_and_never_back(confirmed_session: Session, tester: Client) -> None:
    probe = builders.an_instrument(bench=confirmed_session.bench, name="probe", quantity="temperature")
    row = Channel.objects.get(column="room_C")
    mapping.confirm(channels=[row], choices={row.pk: {"instrument": probe}}, by=tester.person)

    def correction() -> float:
        stated = session_document.to_document(Session.objects.get()).instruments
        return next(one.offset_correction for one in stated if one.id.startswith("probe"))

    CalibrationRecord.objects.create(instrument=probe, valid_from=date(2026, 7, 15), how="ice", offset_correction=0.3)
    assert correction() == 0.0
    CalibrationRecord.objects.create(instrument=probe, valid_from=date(2026, 6, 1), how="ice", offset_correction=0.2)
    assert correction() == 0.2


def test_a_session_without_a_room_says_what_to_do(bench, tester: Client) -> None:
    session = Session.objects.create(bench=bench, name="No room")
    with pytest.raises(InvalidSession, match="Choose or describe the room under Facts"):
        session_document.to_document(session)


def test_two_benches_plugs_of_one_name_are_not_taken_for_one() -> None:
    plugs = [builders.an_instrument(bench=builders.a_bench(), name="plug A") for _ in range(2)]
    assert len({session_document.instrument_id(plug) for plug in plugs}) == 2


# --- moving in ------------------------------------------------------------------------------------------


@pytest.fixture
def document(confirmed_session: Session) -> doc.Session:
    return session_document.to_document(confirmed_session)


def test_a_unit_described_alike_is_taken_and_another_is_made(document: doc.Session, tester: Client, bench) -> None:
    before = Unit.objects.count()
    documents.bring_in(bench=bench, document=document, files=logs.both(), by=tester.person)
    assert Unit.objects.count() == before
    claim = doc.Claim(quantity="eer", value=10.0, quantity_unit="Btu/(W·h)")
    other = document.model_copy(update={"unit": document.unit.model_copy(update={"claims": (claim,)})})
    moved = documents.bring_in(bench=bench, document=other, files=logs.both(), by=tester.person)
    assert Unit.objects.count() == before + 1
    assert [row.value_si for row in moved.unit.claims.all()] == [10.0]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"path": "other.csv"}, "found “other.csv”, expected one of the files sent along"),
        ({"path": "../room.csv"}, "expected a path inside the session's folder"),
        ({"sha256": "0" * 64}, "expected the SHA-256 000000000000… that the document states"),
    ],
)
def test_a_document_that_does_not_match_its_files_leaves_nothing(
    document: doc.Session, stranger: Client, change: dict[str, str], sentence: str
) -> None:
    bench = stranger.person.memberships.get().bench
    files = (document.files[0].model_copy(update=change), document.files[1])
    wrong = document.model_copy(update={"files": files, "channels": ()})
    with pytest.raises(InvalidSession, match=sentence):
        documents.bring_in(bench=bench, document=wrong, files=logs.both(), by=stranger.person)
    assert not Session.objects.filter(bench=bench).exists()
    assert not Unit.objects.filter(bench=bench).exists()
    assert not Evidence.objects.filter(bench=bench).exists()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (b"", "SESSION.json: found “.*”, expected invalid json"),
        (b"\xff\xfe", "SESSION.json.*expected invalid json"),
        (b'{"name": "x", "files": []}', "column “unit”.*expected field required.*1 more field"),
        (b'{"format": "cooling-ledger-session/9"}', "column “format”.*expected 'cooling-ledger-session/1'"),
    ],
)
def test_a_text_that_is_no_document_says_where_it_breaks(text: bytes, sentence: str) -> None:
    with pytest.raises(InvalidSession, match=sentence):
        documents.parse(text)


def test_a_session_is_brought_here_by_its_page(confirmed_session: Session, stranger: Client) -> None:
    document = session_document.to_document(confirmed_session)
    sent = {"document": logs.uploaded("SESSION.json", document.model_dump_json()), "files": logs.both()}
    stranger.post(reverse("session-import"), sent)
    assert session_document.to_document(Session.objects.exclude(pk=confirmed_session.pk).get()) == document


@pytest.mark.parametrize("text", ["", "{}", "[1, 2]", "\x00\x01"])
def test_a_document_that_cannot_be_is_refused_on_its_page(stranger: Client, text: str) -> None:
    sent = {"document": logs.uploaded("SESSION.json", text), "files": logs.both()}
    page = stranger.post(reverse("session-import"), sent)
    assert page.status_code == 422
    assert "SESSION.json" in page.content.decode()
    assert "Correct the document" in page.content.decode()


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"name": "x" * 121}, "column “name”: found “x{40}…”, expected text of at most 120 characters"),
        ({"name": "a\x00b"}, "found “a NUL character”"),
    ],
)
def test_a_text_that_no_row_holds_is_refused(document: doc.Session, change: dict[str, str], sentence: str) -> None:
    with pytest.raises(InvalidSession, match=sentence):
        documents.parse(document.model_copy(update=change).model_dump_json())


def test_the_document_downloads_from_the_session(confirmed_session: Session, reader: Client) -> None:
    given = reader.get(reverse("session-document", args=[confirmed_session.pk]))
    assert documents.parse(given.content) == session_document.to_document(confirmed_session)


def test_an_instant_with_an_odd_offset_is_kept_as_the_instant_it_is(document: doc.Session, stranger: Client) -> None:
    odd = {"label": "odd", "start_utc": "2026-07-13T18:39:00-17:41", "end_utc": "2026-07-13T19:39:00-17:41"}
    sent = doc.Session.model_validate({**document.model_dump(mode="json"), "windows": [odd]})
    moved = documents.bring_in(
        bench=stranger.person.memberships.get().bench, document=sent, files=logs.both(), by=stranger.person
    )
    assert moved.windows.get().start.isoformat() == "2026-07-14T12:20:00+00:00"


def test_an_instant_that_utc_cannot_hold_is_refused_in_words(document: doc.Session) -> None:
    early = {"label": "early", "start_utc": "0001-01-01T00:00:00+10:00", "end_utc": "2026-07-14T13:00:00Z"}
    with pytest.raises(ValueError, match="within the years 1 to 9999"):
        doc.Session.model_validate({**document.model_dump(mode="json"), "windows": [early]})
