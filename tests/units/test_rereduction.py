"""Results made from what no longer holds: found with the reason, made again beside the old, nothing rewritten."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from django.urls import reverse

from reduction.method import METHOD_VERSION
from tests import builders
from tests_app.actions import mapping, reduce
from tests_app.actions.changes import changes
from tests_app.actions.outdated import outdated
from tests_app.models import Channel, Job, Point, Reduction
from units.actions import editions, instruments, reviews
from units.editions.resting import editions_resting_on
from units.models import CalibrationRecord, Edition, RoomValue

pytestmark = pytest.mark.django_db

DAY = builders.NOON.date()


@pytest.fixture
def plug(bench):
    return builders.an_instrument(bench=bench, name="plug 1")


@pytest.fixture
def session(bench, tester, plug):
    """Return a reduced session of 14 July whose heater was measured with plug 1."""
    session = builders.a_session(bench=bench, with_logs=["temperatures", "plugs"], name="At 35 °C")
    channels = list(Channel.objects.filter(file__session=session))
    choices = {c.pk: {"instrument": plug} if c.role.startswith("heater") else {} for c in channels}
    mapping.confirm(channels=channels, choices=choices, by=tester.person)
    reduce.run_and_store(session=session, by=tester.person)
    return session


def calibrated(plug, by, *, gain: float, valid_from: date, **fields) -> CalibrationRecord:
    record = CalibrationRecord(valid_from=valid_from, how="reference plug", gain_correction=gain, **fields)
    return instruments.calibrate(instrument=plug, calibration=record, by=by)


def again(client, *sessions):
    answer = client.post(reverse("rereduction-begin"), {"session": [str(session.pk) for session in sessions]})
    return client.get(answer.headers["Location"])


def test_a_fresh_result_is_not_outdated(session):
    assert outdated([session]) == []


def test_a_calibration_valid_before_the_test_outdates_it_and_names_the_instrument(session, plug, tester):
    calibrated(plug, tester.person, gain=1.03, valid_from=DAY - timedelta(days=20))
    (row,) = outdated([session])
    assert [(reason.cause, reason.sentence) for reason in row.reasons] == [
        ("calibration", "other values hold for plug 1")
    ]
    assert row.by_itself


def test_an_offset_valid_from_a_later_day_leaves_earlier_results_alone(session, plug, tester):
    calibrated(plug, tester.person, gain=1.03, valid_from=DAY + timedelta(days=1))
    assert outdated([session]) == []


def test_newer_room_values_outdate_the_sessions_of_their_day(session):
    surfaces = [{"to": "outdoor", "ua_w_per_k": 20.0, "u95_w_per_k": 2.0}]
    RoomValue.objects.create(room=session.room, valid_from=DAY + timedelta(days=1), surfaces=surfaces)
    assert outdated([session]) == []
    RoomValue.objects.create(room=session.room, valid_from=DAY - timedelta(days=1), surfaces=surfaces)
    assert [reason.cause for reason in outdated([session])[0].reasons] == ["room"]


def test_a_run_that_asks_the_room_is_not_outdated_by_what_it_found(session, plug, tester):
    session.purpose = "characterisation"
    session.save()
    reduce.run_and_store(session=session, by=tester.person)
    surfaces = [{"to": "outdoor", "ua_w_per_k": 20.0, "u95_w_per_k": 2.0}]
    RoomValue.objects.create(room=session.room, valid_from=DAY - timedelta(days=1), surfaces=surfaces)
    assert outdated([session]) == []
    calibrated(plug, tester.person, gain=1.03, valid_from=DAY - timedelta(days=20))
    assert [reason.cause for reason in outdated([session])[0].reasons] == ["calibration"], "its instruments count"
    session.room.volume_m3 += 5.0
    session.room.save()
    assert [reason.cause for reason in outdated([session])[0].reasons] == ["room", "calibration"], "so does its size"


def test_another_method_version_outdates_every_result(session, monkeypatch):
    monkeypatch.setattr("tests_app.actions.outdated.METHOD_VERSION", "9.9")
    (row,) = outdated([session])
    assert row.reasons[0].sentence == f"made by method {METHOD_VERSION}; 9.9 is in use"


def test_the_bench_says_how_many_results_an_older_method_made(bench, tester):
    builders.a_reduction(session=builders.a_session(bench=bench), method_version="0.9")
    builders.a_reduction(session=builders.a_session(bench=bench))
    assert "1 result of an older method" in tester.get(reverse("bench-home")).text


def test_a_change_in_the_session_itself_is_not_ticked(session, tester):
    session.notes = "The door was open"
    session.save()
    (row,) = outdated([session])
    assert not row.by_itself
    assert "notes" in row.reasons[0].sentence
    assert " checked" not in tester.get(reverse("rereductions")).text


def test_a_gain_of_three_per_cent_moves_the_capacity_by_it_and_the_old_result_stays(session, plug, tester):
    old = reduce.standing_reduction(session)
    kept = Reduction.objects.values().get(pk=old.pk)
    calibrated(plug, tester.person, gain=1.03, gain_correction_u=0.002, valid_from=DAY - timedelta(days=20))
    page = again(tester, session)
    new = reduce.standing_reduction(session)
    assert new.supersedes == old
    assert Reduction.objects.values().get(pk=old.pk) == kept
    (point,) = changes(old, new)
    heater = next(term for term in old.points.get().detail["terms"] if "heater" in term["name"])
    assert point.figures["capacity"].change == pytest.approx(heater["value_w"] * (1 / 1.03 - 1), rel=0.02)
    assert point.figures["power"].change == pytest.approx(0.0, abs=1e-6), "the unit hangs on another plug"
    assert point.figures["capacity"].in_u == pytest.approx(
        point.figures["capacity"].change / old.points.get().capacity_u95_w
    )
    assert "1 session reduced again: 1 with a new result" in page.text
    assert outdated([session]) == []


def test_one_session_that_fails_says_why_and_leaves_the_others_alone(session, plug, tester, bench):
    broken = builders.a_session(bench=bench, name="Nothing in it")
    builders.a_reduction(session=broken, points=())
    calibrated(plug, tester.person, gain=1.03, valid_from=DAY - timedelta(days=20))
    page = again(tester, broken, session)
    job = Job.objects.get(what="rereduction")
    assert (job.state, job.done_steps, job.total_steps) == ("done", 2, 2)
    errors = {outcome["session"]: outcome["error"] for outcome in job.detail["outcomes"]}
    assert errors[str(session.pk)] is None
    assert errors[str(broken.pk)] in page.context["rows"][0].error + page.context["rows"][1].error
    assert errors[str(broken.pk)]


def test_what_moved_most_stands_first(session, plug, tester, bench):
    calm = builders.a_session(bench=bench, with_logs=["temperatures", "plugs"], name="Another plug")
    reduce.run_and_store(session=calm, by=tester.person)
    calibrated(plug, tester.person, gain=1.03, valid_from=DAY - timedelta(days=20))
    calm.notes = "The door was open"
    calm.save()
    rows = again(tester, calm, session).context["rows"]
    assert [row.session.name for row in rows] == ["At 35 °C", "Another plug"]
    assert rows[0].moved_u > rows[1].moved_u == 0.0


def published(session, by) -> Edition:
    session.unit.obtained, session.unit.afterwards = "bought", "kept"
    session.unit.save()
    review = reviews.begin(bench=session.bench, units=[session.unit], by=by)
    reviews.write(review=review, disclosure="Bought.", charts=["tested"], by=by)
    return editions.publish(review=review, by=by)


def test_published_editions_it_touches_are_listed_and_not_rewritten(bench, owner):
    session = builders.a_session(bench=bench, unit=builders.a_unit(bench=bench, claims={}), name="At 35 °C")
    old = builders.a_reduction(session=session)
    edition = published(session, owner.person)
    assert [each.edition for each in editions_resting_on([old])] == [edition]
    moved = (builders.a_result_point(capacity_w=2500.0),)
    new = builders.a_reduction(session=session, points=moved, supersedes=old)
    outcome = {"session": str(session.pk), "before": str(old.pk), "after": str(new.pk), "error": None}
    job = Job.objects.create(
        bench=bench, what="rereduction", state="done", total_steps=1, done_steps=1,
        detail={"sessions": [str(session.pk)], "outcomes": [outcome]},
    )  # fmt: skip
    page = owner.get(reverse("rereduction", args=[job.pk]))
    assert "changed beyond its ±" in page.text
    assert page.context["beyond"] == 1
    assert "3.33" in page.text, "200 W is 3.33 times the ± of 60 W that was stated"
    assert Edition.objects.values().get() == Edition.objects.values().get(pk=edition.pk)
    assert json.loads(Edition.objects.get().document)["points"]["P1"]["capacity_w"] == 2300.0
    assert editions_resting_on([new]) == []


def test_windows_are_paired_by_the_time_they_share(bench):
    hour = timedelta(hours=1)
    session = builders.a_session(bench=bench)
    times = [builders.NOON, builders.NOON + 2 * hour]
    old = builders.a_reduction(
        session=session, points=tuple(builders.a_result_point(label=f"A{n}", start=t) for n, t in enumerate(times))
    )
    later = [times[1] + hour / 4, times[1] + 6 * hour]
    new = builders.a_reduction(
        session=session, supersedes=old,
        points=tuple(builders.a_result_point(label=f"B{n}", start=t) for n, t in enumerate(later)),
    )  # fmt: skip
    pairs = [(p.before and p.before.label, p.after and p.after.label) for p in changes(old, new)]
    assert pairs == [("A1", "B0"), (None, "B1"), ("A0", None)]
    assert [pair.beyond_u for pair in changes(old, new)] == [False, True, True]


def test_sessions_of_one_instrument_can_be_asked_for(session, plug, tester, bench):
    other = builders.an_instrument(bench=bench)
    calibrated(plug, tester.person, gain=1.03, valid_from=DAY - timedelta(days=20))
    assert session.name in tester.get(reverse("rereductions"), {"instrument": plug.pk}).text
    assert session.name not in tester.get(reverse("rereductions"), {"instrument": other.pk}).text


def test_nobody_reduces_another_benchs_sessions(session, stranger, reader):
    assert reader.post(reverse("rereduction-begin"), {"session": str(session.pk)}).status_code == 403
    stranger.post(reverse("rereduction-begin"), {"session": str(session.pk)})
    assert not Job.objects.filter(what="rereduction").exists()
    assert Point.objects.filter(reduction__session=session).count() == 1


def test_only_figures_that_moved_stand_in_the_table_and_above_it_how_far_each_did(session, plug, tester):
    calibrated(plug, tester.person, gain=1.03, gain_correction_u=0.002, valid_from=DAY - timedelta(days=20))
    page = again(tester, session)
    (row,) = page.context["rows"]
    (point,) = row.points
    assert set(point.figures) - set(point.moved) == {"power"}, "the unit hangs on another plug"
    assert {each.name: each.in_u for each in page.context["largest"]} == {
        name: figure.in_u for name, figure in point.moved.items()
    }
    assert "<strong>Power</strong>" not in page.text
    assert 'data-label="Figure">Capacity' in page.text
    assert 'data-label="Figure">Power' not in page.text


def test_a_task_that_was_cancelled_says_how_far_it_came_and_offers_the_rest(session, tester, reader, bench):
    other = builders.a_session(bench=bench, name="Not yet")
    outcome = {"session": str(session.pk), "before": None, "after": None, "error": None}
    job = Job.objects.create(
        bench=bench, what="rereduction", state="cancelled", total_steps=2, done_steps=1,
        detail={"sessions": [str(session.pk), str(other.pk)], "outcomes": [outcome]},
    )  # fmt: skip
    page = tester.get(reverse("rereduction", args=[job.pk]))
    assert "Cancelled. 1 of 2 sessions came to their turn" in page.text
    assert f'<input type="hidden" name="session" value="{other.pk}">' in page.text
    assert f'value="{session.pk}"' not in page.text
    assert "Reduce the other one again" not in reader.get(reverse("rereduction", args=[job.pk])).text
