"""The bench at a glance: where a new one begins, what is in work, due, open, and what came out lately."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from tests import builders
from tests_app.models import Channel, Evidence, Job, SessionFile
from units.models import CalibrationRecord, RoomValue

pytestmark = pytest.mark.django_db

ASKS = {"asks": {"what": "date_order", "options": ["day_first", "month_first"], "because": "01/02/2024"}}


def home(client) -> str:
    return client.get(reverse("bench-home")).text


def test_a_new_bench_says_where_to_begin(owner):
    page = home(owner)
    ways = ("room-new", "instrument-new", "unit-new", "plan", "session-new")
    places = [page.index(f'href="{reverse(name)}"', page.index("From here to the first result")) for name in ways]
    assert places == sorted(places)
    assert "Every session is reduced" not in page


def test_what_is_done_of_the_beginning_is_ticked_off(owner, bench):
    builders.a_room(bench=bench, name="Loft")
    page = owner.get(reverse("bench-home"))
    assert [done for done, *_ in page.context["steps"]] == [True, False, False, False]
    assert "On the way to the first result" in page.text
    assert "No session yet." in page.text


def test_a_reader_is_asked_to_enter_nothing(reader, bench):
    assert "the first result" not in home(reader)


def test_a_bench_with_a_result_shows_it_with_its_uncertainty_and_no_first_steps(owner, bench):
    session = builders.a_session(bench=bench, unit=builders.a_unit(bench=bench), name="A warm day")
    builders.a_reduction(session=session, points=(builders.a_result_point(capacity_w=2300.0, capacity_u95_w=92.0),))
    page = home(owner)
    assert "the first result" not in page
    row = page[page.index("A warm day") :]
    assert "2,300\u00a0±\u00a090\u00a0W" in row.split("</tr>")[0].replace("\u202f", "\u00a0")


def test_a_session_without_a_result_is_in_work_and_its_open_question_needs_an_answer(owner, bench):
    session = builders.a_session(bench=bench, name="Half a day")
    evidence = Evidence.objects.create(bench=bench, sha256="0" * 64, size_bytes=4, stored_as="x")
    file = SessionFile.objects.create(session=session, evidence=evidence, name="log.csv", reading={})
    assert owner.get(reverse("bench-home")).context["asked"] == []
    file.reading = ASKS
    file.save()
    page = owner.get(reverse("bench-home"))
    assert page.context["asked"] == [file]
    assert "how log.csv is to be read" in page.text
    assert "not reduced" in page.text


def test_sensors_in_a_bundle_are_no_work_left_undone(owner, bench):
    builders.a_session(bench=bench, name="Bundle", purpose="side_by_side")
    assert owner.get(reverse("bench-home")).context["unreduced"] == []


def test_work_that_stopped_needs_an_answer_until_it_is_done(owner, bench):
    session = builders.a_session(bench=bench, name="Half a day")
    job = {"bench": bench, "session": session, "what": "reduce", "finished_at": timezone.now()}
    Job.objects.create(**job, state="failed", message="room.csv has no column of times.")
    assert "room.csv has no column of times." in home(owner)
    Job.objects.create(**job, state="done")
    assert "room.csv has no column of times." not in home(owner)


def test_nothing_of_another_bench_is_on_the_page(stranger, bench):
    session = builders.a_session(bench=bench, name="Not theirs")
    builders.a_reduction(session=session)
    Job.objects.create(bench=bench, session=session, what="reduce", state="failed", finished_at=timezone.now())
    assert "Not theirs" not in home(stranger)


def test_the_page_asks_the_database_no_more_for_more_sessions(owner, bench, django_assert_max_num_queries):
    for number in range(12):
        builders.a_reduction(session=builders.a_session(bench=bench, name=f"Day {number}"))
    with django_assert_max_num_queries(45):
        home(owner)


def test_a_calibration_found_later_makes_the_results_of_its_days_due(owner, bench):
    plug = builders.an_instrument(bench=bench)
    for hangs_on_it in (True, False):
        session = builders.a_session(bench=bench, with_logs=["plugs"])
        Channel.objects.filter(file__session=session).update(instrument=plug if hangs_on_it else None)
        builders.a_reduction(session=session, reduced_at=timezone.now())
    assert owner.get(reverse("bench-home")).context["changed"] == 0
    day = builders.NOON.date()
    CalibrationRecord.objects.create(instrument=plug, valid_from=day + timedelta(days=1), how="ice point")
    assert owner.get(reverse("bench-home")).context["changed"] == 0, "it does not hold on the day of the test"
    CalibrationRecord.objects.create(instrument=plug, valid_from=day, how="ice point")
    assert "1 result from before a calibration or a room’s value that holds on its day" in home(owner)


def test_a_room_value_found_later_makes_them_due_but_not_the_run_that_asked_the_room(owner, bench):
    room = builders.a_room(bench=bench)
    for purpose in ("cooling", "characterisation"):
        session = builders.a_session(bench=bench, room=room, purpose=purpose)
        builders.a_reduction(session=session, reduced_at=timezone.now())
    assert owner.get(reverse("bench-home")).context["changed"] == 0
    RoomValue.objects.create(room=room, valid_from=builders.NOON.date(), surfaces=[])
    assert owner.get(reverse("bench-home")).context["changed"] == 1


def test_a_calibration_that_was_due_is_told_from_one_that_will_be(owner, bench):
    today = timezone.localdate()
    for name, days in (("old plug", -3), ("new plug", 12)):
        plug = builders.an_instrument(bench=bench, name=name)
        CalibrationRecord.objects.create(
            instrument=plug, valid_from=today - timedelta(days=90), due_on=today + timedelta(days=days), how="ice point"
        )
    builders.a_reduction(session=builders.a_session(bench=bench))
    rows = [row for row in home(owner).split("<li>") if "calibration due" in row]
    assert ["overdue" in row for row in rows] == [True, False]


def test_work_under_way_leads_to_its_progress(owner, bench):
    session = builders.a_session(bench=bench, name="Hot day")
    one = Job.objects.create(
        bench=bench, session=session, what="reduction", state="running", done_steps=40, total_steps=100
    )
    many = Job.objects.create(bench=bench, what="rereduction", state="running", done_steps=2, total_steps=9)
    page = home(owner)
    for job, said in ((one, "running, 40 %"), (many, "running, 2 of 9 sessions")):
        (row,) = (row for row in page.split("<li>") if reverse("job", args=[job.pk]) in row)
        assert said in row


def test_an_export_that_failed_needs_an_answer_until_one_is_made(owner, bench):
    facts = {"bench": bench, "what": "export", "detail": {"kind": "points"}}
    builders.a_session(bench=bench)
    Job.objects.create(**facts, state="failed", message="No room left.", finished_at=timezone.now())
    assert "No room left." in home(owner)
    Job.objects.create(**facts, state="done", finished_at=timezone.now())
    assert "No room left." not in home(owner)


def test_an_archive_that_was_sent_waits_on_the_page_of_who_sent_it(owner, stranger, bench):
    Job.objects.create(
        bench=None,
        what="look",
        state="done",
        asked_by=owner.person,
        detail={"name": "mine.bench.zip", "stored_as": "x"},
    )
    assert 'mine.bench.zip</strong> <span class="muted">is looked at and waits for your word' in home(owner)
    assert "mine.bench.zip" not in home(stranger)
