"""What files and columns mean: proposed, confirmed, overruled, remembered."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from reduction.errors import InvalidSession, ReductionError
from tests import builders
from tests.tests_app import logs
from tests_app.actions import mapping, sessions, upload, windows
from tests_app.models import Channel, SavedMapping, Session, SessionFile

pytestmark = pytest.mark.django_db

NO_ZONE = {"zone": ""}


def channel(session: Session, column: str) -> Channel:
    return Channel.objects.get(file__session=session, column=column)


def said(session: Session, **changes: dict[str, str]) -> dict[str, str]:
    """Return what the channels page would post, with changes by column."""
    posted = {}
    for row in Channel.objects.filter(file__session=session):
        fields = {"role": row.role, "quantity_unit": row.quantity_unit, "kind": row.kind} | changes.get(row.column, {})
        posted |= {f"{row.pk.hex}-{name}": value for name, value in fields.items()}
    return posted


def test_a_person_overrules_role_unit_and_instrument(read_session: Session, tester: Client) -> None:
    plug = builders.an_instrument(bench=read_session.bench)
    change = {"role": "other_power", "quantity_unit": "kilowatts", "instrument": str(plug.pk), "place": "shelf"}
    tester.post(reverse("channels", args=[read_session.pk]), said(read_session, heater_W=change))
    row = channel(read_session, "heater_W")
    assert (row.role, row.quantity_unit, row.instrument, row.place, row.confirmed) == (
        "other_power",
        "kW",
        plug,
        "shelf",
        True,
    )


def test_a_unit_nobody_knows_is_refused_and_nothing_is_confirmed(read_session: Session, tester: Client) -> None:
    change = {"heater_W": {"quantity_unit": "bananas"}}
    page = tester.post(reverse("channels", args=[read_session.pk]), said(read_session, **change))
    assert page.status_code == 422
    assert "“bananas” is not a unit this program knows" in page.content.decode()
    assert not Channel.objects.filter(confirmed=True).exists()


def test_a_relay_of_on_and_off_is_confirmed_as_it_was_read(session: Session, tester: Client) -> None:
    rows = "".join(f"2026-07-14T12:{m:02}:00Z,{26 + m / 100},{('on', 'off')[m % 2]}\n" for m in range(30))
    file = logs.uploaded("room.csv", f"time,room_C,heater_relay\n{rows}")
    upload.keep_files(session=session, files=[file], by=tester.person)
    answer = tester.post(reverse("channels", args=[session.pk]), said(session))
    assert answer.status_code == 302
    relay = channel(session, "heater_relay")
    assert (relay.role, relay.quantity_unit, relay.confirmed) == ("relay_state", "state", True)


def test_an_instrument_of_another_bench_cannot_be_chosen(read_session: Session, tester: Client) -> None:
    foreign = builders.an_instrument(bench=builders.a_bench())
    change = {"heater_W": {"instrument": str(foreign.pk)}}
    assert tester.post(reverse("channels", args=[read_session.pk]), said(read_session, **change)).status_code == 422


def test_a_file_is_read_again_in_the_zone_a_person_states(session: Session, tester: Client) -> None:
    content = logs.room_csv(**NO_ZONE)
    file = upload.keep_files(session=session, files=[logs.uploaded("room.csv", content)], by=tester.person).kept[0]
    assert file.reading["first"].startswith("2026-07-14T12:00:00+00:00")
    again = mapping.read_as(file=file, profile={"time_zone": "America/Denver"}, by=tester.person)
    assert again.reading["first"].startswith("2026-07-14T18:00:00+00:00")


def test_a_reading_that_fails_leaves_the_file_as_it_was(read_session: Session, tester: Client) -> None:
    file = SessionFile.objects.get(name="room.csv")
    with pytest.raises(ReductionError):
        mapping.read_as(file=file, profile={"delimiter": "|"}, by=tester.person)
    kept = SessionFile.objects.get(name="room.csv")
    assert (kept.profile, len(kept.reading["columns"])) == ({}, 5)


def test_what_was_confirmed_stays_when_a_file_is_read_again(confirmed_session: Session, tester: Client) -> None:
    row = channel(confirmed_session, "heater_W")
    mapping.confirm(channels=[row], choices={row.pk: {"role": "other_power"}}, by=tester.person)
    mapping.read_as(file=row.file, profile={"time_zone": "UTC"}, by=tester.person)
    kept = channel(confirmed_session, "heater_W")
    assert (kept.role, kept.confirmed) == ("other_power", True)


def test_another_zone_of_the_session_moves_files_without_one(session: Session, tester: Client) -> None:
    upload.keep_files(session=session, files=[logs.uploaded("room.csv", logs.room_csv(**NO_ZONE))], by=tester.person)
    sessions.describe(session=session, by=tester.person, time_zone="America/Denver")
    assert session.files.get().reading["first"].startswith("2026-07-14T18:00:00+00:00")


def test_a_clock_is_corrected_for_one_file_only_and_with_its_reason(read_session: Session, tester: Client) -> None:
    file = read_session.files.get(name="power.csv")
    with pytest.raises(InvalidSession, match="expected why its clock is corrected"):
        mapping.set_clock(file=file, clock={"offset_s": 94.0}, by=tester.person)
    mapping.set_clock(file=file, clock={"offset_s": 94.0, "reason": "heater edge in both"}, by=tester.person)
    clocks = dict(read_session.files.values_list("name", "clock"))
    assert clocks == {"power.csv": {"offset_s": 94.0, "reason": "heater edge in both"}, "room.csv": {}}


@pytest.fixture
def late_session(session: Session, tester: Client) -> Session:
    """Return a session whose plug stamps its heater two minutes too early."""
    upload.keep_files(session=session, files=logs.cycling(behind_s=120), by=tester.person)
    windows.propose(session=session, by=tester.person)
    return session


def test_clocks_that_disagree_are_offered_with_evidence_and_not_shifted(late_session: Session, tester: Client) -> None:
    offers = {file.name: file.reading.get("clock_offer") for file in late_session.files.all()}
    offer = offers["room.csv"]
    assert offer["correction"]["offset_s"] == pytest.approx(
        -120, abs=45
    )  # a real room answers some 35 s late, this one at once
    assert offer["because"]
    assert [file.clock for file in late_session.files.all()] == [{}, {}]
    assert "Nothing was shifted" in tester.get(reverse("windows", args=[late_session.pk])).content.decode()


def test_an_offered_clock_is_taken_on_a_yes_with_the_evidence_as_reason(late_session: Session, tester: Client) -> None:
    file = late_session.files.get(name="room.csv")
    tester.post(reverse("file-clock-take", args=[late_session.pk, file.pk]))
    file.refresh_from_db()
    assert file.clock["offset_s"] == pytest.approx(-120, abs=45)  # a real room answers some 35 s late, this one at once
    assert file.clock["reason"]
    windows.propose(session=late_session, by=tester.person)
    assert {each.reading.get("clock_offer") for each in late_session.files.all()} == {None}


def test_without_an_offer_there_is_nothing_to_take(read_session: Session, tester: Client) -> None:
    page = tester.post(reverse("file-clock-take", args=[read_session.pk, read_session.files.first().pk]))
    assert page.status_code == 422
    assert "Look for steady windows again" in page.content.decode()


def test_a_saved_mapping_is_offered_for_the_same_layout_only(confirmed_session: Session, tester: Client) -> None:
    file = confirmed_session.files.get(name="power.csv")
    saved = mapping.remember(file=file, name="Plugs", by=tester.person)
    other = builders.a_session(bench=confirmed_session.bench)
    upload.keep_files(session=other, files=logs.both(hours=1.0), by=tester.person)
    offers = mapping.offered(session=other, files=list(other.files.all()))
    assert list(offers.values()) == [saved]
    assert other.files.get(name="power.csv").reading["fingerprint"] in offers


def test_a_saved_mapping_confirms_the_channels_as_last_time(confirmed_session: Session, tester: Client) -> None:
    plug = builders.an_instrument(bench=confirmed_session.bench)
    row = channel(confirmed_session, "heater_W")
    choice = {"role": "other_power", "instrument": plug, "place": "shelf"}
    mapping.confirm(channels=[row], choices={row.pk: choice}, by=tester.person)
    saved = mapping.remember(file=row.file, name="Plugs", by=tester.person)
    other = builders.a_session(bench=confirmed_session.bench)
    file = upload.keep_files(
        session=other, files=[logs.uploaded("july.csv", logs.power_csv(1.0))], by=tester.person
    ).kept[0]
    address = reverse("file-apply", args=[other.pk, file.pk])
    assert tester.post(address, {"mapping": saved.pk}).status_code == 302
    again = channel(other, "heater_W")
    assert (again.role, again.instrument, again.place, again.confirmed) == ("other_power", plug, "shelf", True)


def test_a_saved_mapping_of_another_bench_is_out_of_reach(read_session: Session, tester: Client) -> None:
    foreign = SavedMapping.objects.create(bench=builders.a_bench(), fingerprint="0", name="Theirs")
    file = read_session.files.first()
    address = reverse("file-apply", args=[read_session.pk, file.pk])
    assert tester.post(address, {"mapping": foreign.pk}).status_code == 404


def test_every_role_and_kind_can_be_chosen() -> None:
    from reduction.session import Role, SampleKind
    from tests_app.words import KIND_WORDS, ROLE_GROUPS

    assert sorted(role for roles in ROLE_GROUPS.values() for role in roles) == sorted(Role)
    assert sorted(KIND_WORDS) == sorted(SampleKind)
