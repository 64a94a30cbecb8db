"""Rooms with dated values, instruments with calibrations."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from reduction import session as doc
from tests import builders
from tests_app.actions import mapping, reduce
from tests_app.models import Channel, Reduction
from tests_app.session_document.as_document import describe_room
from units.models import CalibrationRecord, Instrument, Room, RoomValue

pytestmark = pytest.mark.django_db


def value_form(*surfaces: tuple, **fields) -> dict:
    data = {"valid_from": "2026-06-01", "found_by": "off run", "includes_infiltration": "on"} | fields
    data |= {"surfaces-TOTAL_FORMS": len(surfaces), "surfaces-INITIAL_FORMS": 0}
    for n, row in enumerate(surfaces):
        data |= {
            f"surfaces-{n}-{name}": value for name, value in zip(("to", "ua_w_per_k", "u95_w_per_k"), row, strict=True)
        }
    return data


def test_a_room_is_made_and_its_values_written_down(tester, bench):
    tester.post(reverse("room-new"), {"name": "Loft", "volume_m3": "31", "construction": "light"})
    room = Room.objects.get(bench=bench)
    data = value_form(("outdoor", "14", "2"), ("", "", ""), c_eff_kj_per_k="410", c_eff_u95_kj_per_k="90")
    assert tester.post(reverse("room-value-new", args=[room.pk]), data).status_code == 302
    value = room.values.get()
    assert value.surfaces == [{"to": "outdoor", "ua_w_per_k": 14.0, "u95_w_per_k": 2.0}]
    assert (value.c_eff_j_per_k, value.c_eff_u95_j_per_k) == (410_000.0, 90_000.0)
    doc.Surface.model_validate(value.surfaces[0])
    page = tester.get(reverse("room", args=[room.pk])).text
    assert "14\u00a0±\u00a02\u00a0W/K" in page
    assert "410\u00a0±\u00a090\u00a0kJ/K" in page


@pytest.mark.parametrize(
    ("surfaces", "fields", "sentence"),
    [
        ([], {}, "Give at least one surface"),
        ([("outdoor", "14", "")], {}, "A surface needs its neighbour, its UA and the ± of UA."),
        ([("outdoor", "14", "2"), ("outdoor", "3", "1")], {}, "Each neighbour has one row"),
        ([("outdoor", "-1", "2")], {}, "greater than or equal to 0"),
        ([("outdoor", "14", "2")], {"c_eff_kj_per_k": "400"}, "belong together"),
    ],
)
def test_values_that_cannot_be_are_refused(tester, bench, surfaces, fields, sentence):
    room = builders.a_room(bench=bench, characterised=False)
    answer = tester.post(reverse("room-value-new", args=[room.pk]), value_form(*surfaces, **fields))
    assert answer.status_code == 422
    assert sentence in answer.text
    assert not RoomValue.objects.exists()


def test_newer_values_leave_the_older_ones_as_they_were(tester, bench):
    room = builders.a_room(bench=bench)
    before = RoomValue.objects.values().get()
    tester.post(reverse("room-value-new", args=[room.pk]), value_form(("outdoor", "20", "3")))
    assert RoomValue.objects.values().get(pk=before["id"]) == before
    assert room.values.count() == 2


def fitted(room, **fields):
    session = builders.a_session(bench=room.bench, room=room, purpose="characterisation")
    fit = doc.RoomFit(
        model="one store", surfaces=(doc.Surface(to="outdoor", ua_w_per_k=16.0, u95_w_per_k=1.5),),
        c_eff_j_per_k=4.2e5,
        c_eff_u95_j_per_k=5e4, slow_mass=None, time_constants_h=(7.3,),
        residual_rms_c=0.05, residual_whiteness="white",
        identifiable=True, because="The difference of temperatures was 9 K.",
    ).model_copy(update=fields)  # fmt: skip
    reduction = builders.a_reduction(session=session, points=())
    result = reduction.result | {"room_fit": fit.model_dump(mode="json")}
    return builders.a_reduction(session=session, points=(), supersedes=reduction, result=result)


def test_a_characterisation_is_taken_over_with_where_it_came_from(tester, bench):
    room = builders.a_room(bench=bench, characterised=False)
    reduction = fitted(room)
    assert "Take over" in tester.get(reverse("room", args=[room.pk])).text
    tester.post(reverse("room-take", args=[room.pk, reduction.pk]))
    value = room.values.get()
    assert (value.found_in, value.c_eff_j_per_k) == (reduction, 4.2e5)
    assert "taken over" in tester.get(reverse("room", args=[room.pk])).text


def test_surfaces_told_together_stay_so_from_the_run_to_the_session_document(tester, bench):
    room = builders.a_room(bench=bench, characterised=False)
    surfaces = (
        doc.Surface(to="outdoor", ua_w_per_k=16.0, u95_w_per_k=10.0),
        doc.Surface(to="hall", ua_w_per_k=14.0, u95_w_per_k=10.0, correlation=(-0.5,)),
    )
    names = ("UA to outdoor", "UA to hall")
    course = tuple((0.5 + hour, 400.0, 395.0 + (-1) ** hour) for hour in range(8))
    reduction = fitted(
        room, surfaces=surfaces, parameter_names=names, correlation=((1.0, -0.5), (-0.5, 1.0)), course_w=course
    )
    shown = tester.get(reverse("result", args=[reduction.session.pk])).text
    assert "UA of all surfaces" in shown
    assert "−0.50" in shown
    assert "Left over (W)" in shown
    tester.post(reverse("room-take", args=[room.pk, reduction.pk]))
    assert "together: 30\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}10" in tester.get(reverse("room", args=[room.pk])).text
    given = describe_room(room, date(2100, 1, 1))
    assert given.surfaces[1].correlation == (-0.5,)


def test_a_run_that_does_not_tell_the_rooms_values_is_not_taken_over(tester, bench):
    room = builders.a_room(bench=bench, characterised=False)
    reduction = fitted(room, identifiable=False, because="No difference of temperatures.")
    answer = tester.post(reverse("room-take", args=[room.pk, reduction.pk]), follow=True)
    assert "No difference of temperatures." in answer.text
    assert not room.values.exists()


def test_a_run_in_another_room_is_not_taken_over(tester, bench):
    room, reduction = builders.a_room(bench=bench, characterised=False), fitted(builders.a_room(bench=bench))
    answer = tester.post(reverse("room-take", args=[room.pk, reduction.pk]), follow=True)
    assert "made in another room" in answer.text
    assert not room.values.exists()


def instrument_form(**fields) -> dict:
    return {
        "name": "plug 2", "quantity": "power", "offset_limit": "1", "gain_percent": "1.5",
        "distribution": "rectangular", "resolution": "0.1", "noise": "0", "time_constant_s": "0",
    } | fields  # fmt: skip


def test_an_instrument_is_kept_with_its_gain_as_a_fraction(tester, bench):
    tester.post(reverse("instrument-new"), instrument_form())
    instrument = Instrument.objects.get(bench=bench)
    assert instrument.gain_limit == pytest.approx(0.015)
    assert 'value="1.5"' in tester.get(reverse("instrument-edit", args=[instrument.pk])).text


def test_two_instruments_of_a_bench_cannot_have_one_name(tester, bench):
    builders.an_instrument(bench=bench, name="plug 2")
    answer = tester.post(reverse("instrument-new"), instrument_form())
    assert answer.status_code == 422
    assert Instrument.objects.count() == 1


def test_an_accuracy_below_zero_is_refused(tester):
    assert "cannot be negative" in tester.post(reverse("instrument-new"), instrument_form(offset_limit="-1")).text


def calibration(**fields) -> dict:
    return {"valid_from": "2026-06-01", "how": "ice point", "offset_correction": "0.2", "gain_correction": "1"} | fields


def test_a_calibration_follows_the_older_ones_and_knows_when_it_is_due(tester, bench):
    instrument = builders.an_instrument(bench=bench, calibration_interval_days=365)
    tester.post(reverse("instrument-calibrate", args=[instrument.pk]), calibration())
    tester.post(
        reverse("instrument-calibrate", args=[instrument.pk]),
        calibration(valid_from="2026-07-01", offset_correction="0.3"),
    )
    newest, oldest = instrument.calibrations.all()
    assert (newest.offset_correction, oldest.offset_correction) == (0.3, 0.2)
    assert newest.due_on == date(2026, 7, 1) + timedelta(days=365)
    assert newest.done_by == "tomas"


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"gain_correction": "0"}, "A gain of 0 is a broken instrument"),
        ({"due_on": "2026-05-01"}, "It is due after it was done."),
        ({"offset_correction_u": "-1"}, "It cannot be negative."),
        ({"how": ""}, "This field is required."),
    ],
)
def test_a_calibration_that_cannot_be_is_refused(tester, bench, fields, sentence):
    instrument = builders.an_instrument(bench=bench)
    answer = tester.post(reverse("instrument-calibrate", args=[instrument.pk]), calibration(**fields))
    assert answer.status_code == 422
    assert sentence in answer.text
    assert not CalibrationRecord.objects.exists()


def test_an_overdue_instrument_is_flagged_on_its_page_the_list_and_the_bench(tester, bench):
    instrument = builders.an_instrument(bench=bench, name="plug 7")
    CalibrationRecord.objects.create(
        instrument=instrument, valid_from="2020-01-01", due_on="2021-01-01", how="ice point"
    )
    assert "overdue" in tester.get(reverse("instrument", args=[instrument.pk])).text
    assert "overdue since 1 Jan 2021" in tester.get(reverse("instruments")).text
    assert "plug 7" in tester.get(reverse("bench-home")).text


def test_a_certificate_comes_back_as_a_download_and_only_to_the_bench(tester, stranger, bench):
    instrument = builders.an_instrument(bench=bench)
    page = SimpleUploadedFile("c.html", b"<script>alert(1)</script>", content_type="text/html")
    tester.post(reverse("instrument-calibrate", args=[instrument.pk]), calibration(certificate=page))
    address = reverse("certificate", args=[instrument.calibrations.get().pk])
    answer = tester.get(address)
    assert answer["Content-Disposition"].startswith("attachment")
    assert b"".join(answer.streaming_content) == b"<script>alert(1)</script>"
    assert stranger.get(address).status_code == 404


def test_comparing_plugs_on_mains_comes_with_a_caution(tester, bench):
    power, temperature = (
        builders.an_instrument(bench=bench),
        builders.an_instrument(bench=bench, quantity="temperature"),
    )
    pages = [tester.get(reverse("instrument-calibrate", args=[each.pk])).text for each in (power, temperature)]
    assert ["licensed electrician" in page for page in pages] == [True, False]


def test_a_fit_is_drawn_with_its_run_and_the_rooms_values_over_time(tester, bench):
    room = builders.a_room(bench=bench)
    fitted(room, course_w=((0.1, 600.0, 590.0), (0.2, 600.0, 605.0), (0.3, 0.0, 4.0)))
    RoomValue.objects.create(
        room=room,
        valid_from=builders.NOON.date(),
        surfaces=[{"to": "outdoor", "ua_w_per_k": 16.0, "u95_w_per_k": 1.5}],
    )
    page = tester.get(reverse("room", args=[room.pk])).text
    assert "Over 0.3 hours 7 W apart (rms), at most 10 W" in page  # 10, −5 and −4: √(141 / 3) = 6.9
    assert "Heat leakage of the room over time. " in page


def test_newer_room_values_offer_to_reduce_again_and_change_nothing(tester, bench):
    room = builders.a_room(bench=bench)
    session = builders.a_session(bench=bench, room=room, with_logs=["temperatures", "plugs"])
    reduce.run_and_store(session=session, by=tester.person)
    address = reverse("room", args=[room.pk])
    assert "made from other values" not in tester.get(address).text
    before = Reduction.objects.values().get(session=session)
    form = value_form(("outdoor", "20", "3"), valid_from="2026-07-01")
    tester.post(reverse("room-value-new", args=[room.pk]), form)
    page = tester.get(address).text
    assert f"{reverse('rereductions')}?room={room.pk}" in page
    assert Reduction.objects.values().get(session=session) == before
    assert f'value="{session.pk}"' in tester.get(reverse("rereductions"), {"room": room.pk}).text


def test_an_instrument_shows_what_used_it_and_what_a_correction_affects(tester, bench):
    plug = builders.an_instrument(bench=bench)
    session = builders.a_session(bench=bench, with_logs=["temperatures", "plugs"], name="Used it")
    channels = list(Channel.objects.filter(file__session=session))
    choices = {c.pk: {"instrument": plug} if c.role.startswith("heater") else {} for c in channels}
    mapping.confirm(channels=channels, choices=choices, by=tester.person)
    reduce.run_and_store(session=session, by=tester.person)
    address = reverse("instrument", args=[plug.pk])
    assert "Used it" in tester.get(address).text
    assert "no longer holds" not in tester.get(address).text
    data = {
        "valid_from": "2026-06-01", "how": "reference plug", "offset_correction": "0", "gain_correction": "1.02",
        "gain_correction_u": "0.002",
    }  # fmt: skip
    page = tester.post(reverse("instrument-calibrate", args=[plug.pk]), data, follow=True).text
    assert "1 result was made from what no longer holds" in page
    assert f"{reverse('rereductions')}?instrument={plug.pk}" in page
