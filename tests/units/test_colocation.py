"""Sensors side by side, from a session to calibration records."""

from __future__ import annotations

from datetime import date, timedelta
from math import sin

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse

from reduction.examine.colocation import Offset
from tests import builders
from tests_app.actions import mapping, upload
from tests_app.models import Channel
from units.actions import instruments
from units.models import CalibrationRecord

pytestmark = pytest.mark.django_db

DAY = builders.NOON.date()
OFFSETS_K = {"Room 1 (°C)": 0.3, "Room 2 (°C)": -0.1, "Hall (°C)": -0.2}


def log(minutes: int = 90) -> bytes:
    lines = [",".join(["time_utc", *OFFSETS_K])]
    for minute in range(minutes):
        stamp = (builders.NOON + timedelta(minutes=minute)).strftime("%Y-%m-%dT%H:%M:%SZ")
        cells = [f"{22.0 + offset + 0.02 * sin(minute * (n + 1)):.3f}" for n, offset in enumerate(OFFSETS_K.values())]
        lines.append(",".join([stamp, *cells]))
    return "\n".join(lines).encode()


@pytest.fixture
def sensors(bench):
    return {
        name: builders.an_instrument(
            bench=bench, name=f"sensor {name}", quantity="temperature", offset_limit=0.5, gain_limit=0.0
        )
        for name in OFFSETS_K
    }


@pytest.fixture
def session(bench, tester, sensors):
    session = builders.a_session(bench=bench, name="Bundle")
    taken = upload.keep_files(session=session, files=[ContentFile(log(), name="bundle.csv")], by=tester.person)
    assert taken.refused == []
    channels = list(Channel.objects.filter(file__session=session))
    choices = {channel.pk: {"instrument": sensors[channel.column]} for channel in channels}
    mapping.confirm(channels=channels, choices=choices, by=tester.person)
    return session


def test_offsets_are_shown_and_the_ticked_taken_over_from_the_day_of_the_check(session, sensors, tester):
    page = tester.get(reverse("colocation"), {"session": session.pk})
    assert page.status_code == 200
    assert "the mean of 3 sensors" in page.text
    form = {field.name: field.value() for field in page.context["form"]}
    chosen = [str(sensors[name].pk) for name in ("Room 1 (°C)", "Hall (°C)")]
    answer = tester.post(reverse("colocation"), form | {"session": str(session.pk), "instrument": chosen})
    assert answer.headers["Location"] == reverse("rereductions")
    records = {record.instrument.name: record for record in CalibrationRecord.objects.all()}
    assert {name: record.offset_correction for name, record in records.items()} == pytest.approx(
        {"sensor Room 1 (°C)": 0.3, "sensor Hall (°C)": -0.2}, abs=0.005
    )
    record = records["sensor Room 1 (°C)"]
    assert record.valid_from == DAY
    assert record.how == "side-by-side soak against the mean of 3 sensors, session “Bundle”"
    assert record.offset_correction_u == pytest.approx(0.5 / 3**0.5 / 3**0.5, rel=0.1), "the reference's own u leads"


def test_a_session_of_sensors_side_by_side_leads_to_the_check_and_not_to_a_reduction(session, tester):
    assert 'value="side_by_side" selected' in tester.get(f"{reverse('session-new')}?purpose=side_by_side").text
    session.purpose = "side_by_side"
    session.save()
    page = tester.get(reverse("result", args=[session.pk])).text
    assert f"{reverse('colocation')}?session={session.pk}" in page
    assert ">Reduce</button>" not in page


def test_a_second_check_finds_the_same_offsets_whatever_was_corrected_meanwhile(session, sensors, tester):
    first = tester.get(reverse("colocation"), {"session": session.pk}).context["found"]
    CalibrationRecord.objects.create(
        instrument=sensors["Room 1 (°C)"], valid_from=DAY - timedelta(days=9), how="ice", offset_correction=0.3
    )
    second = tester.get(reverse("colocation"), {"session": session.pk}).context["found"]
    assert [each.offset_k for each in second.offsets] == [each.offset_k for each in first.offsets]


def test_a_gain_that_was_known_stays_when_an_offset_is_adopted(bench, owner):
    plug = builders.an_instrument(bench=bench)
    CalibrationRecord.objects.create(
        instrument=plug, valid_from=date(2026, 1, 1), how="x", gain_correction=1.01, gain_correction_u=0.002
    )
    offset = Offset("k", "c", None, 20.0, 0.12, 0.05, "")
    (record,) = instruments.adopt_offsets(offsets={plug: offset}, valid_from=DAY, how="soak", by=owner.person)
    assert (record.gain_correction, record.gain_correction_u) == (1.01, 0.002)


def test_a_span_that_cannot_be_checked_is_refused_in_words(session, tester):
    short = {"start": "2026-07-14T12:00:00", "end": "2026-07-14T12:10:00"}
    page = tester.get(reverse("colocation"), {"session": session.pk} | short)
    assert "At least 30 minutes are needed." in page.text
    beyond = {"start": "2026-07-15T12:00:00", "end": "2026-07-15T13:10:00"}
    assert "0 temperature sensors" in tester.get(reverse("colocation"), {"session": session.pk} | beyond).text


def test_a_reader_sees_the_check_and_takes_nothing_over(session, reader, stranger):
    page = reader.get(reverse("colocation"), {"session": session.pk})
    assert page.status_code == 200
    assert "Write the ticked down" not in page.text
    assert reader.post(reverse("colocation"), {"session": session.pk}).status_code == 403
    assert stranger.get(reverse("colocation"), {"session": session.pk}).status_code == 404


def test_nothing_ticked_writes_nothing(session, tester):
    form = {"start": "2026-07-14T12:00:00", "end": "2026-07-14T13:10:00", "session": session.pk}
    assert tester.post(reverse("colocation"), form).status_code == 422
    assert not CalibrationRecord.objects.exists()
