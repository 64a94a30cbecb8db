"""Runs of one unit again: mean, spread and control chart; a reference run outside its limits warns on later tests."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from reduction import session as doc
from tests import builders
from tests_app.actions import reference

pytestmark = pytest.mark.django_db

INSIDE = [2400.0, 2405.0, 2395.0, 2401.0]


def run(unit, day: int, capacity_w: float, outdoor_c: float = 35.0):
    conditions = {
        "room_temp_c": doc.Measured(value=26.7, u=0.1),
        "outdoor_temp_c": doc.Measured(value=outdoor_c, u=0.1),
    }
    start = builders.NOON + timedelta(days=day)
    point = builders.a_result_point(
        capacity_w=capacity_w, capacity_u95_w=10.0, start=start, conditions=conditions, end=start + timedelta(hours=1)
    )
    session = builders.a_session(bench=unit.bench, unit=unit, name=f"Day {day}")
    return builders.a_reduction(session=session, points=(point,)).points.get()


@pytest.fixture
def unit(bench):
    return builders.a_unit(bench=bench, is_reference=True)


def test_a_repeat_set_shows_mean_spread_and_chart(unit, tester):
    for day, capacity_w in enumerate(INSIDE):
        run(unit, day, capacity_w)
    run(unit, 9, 2700.0, outdoor_c=27.0)
    page = tester.get(reverse("unit", args=[unit.pk]))
    (row,) = page.context["repeats"]
    assert row["set"].mean == pytest.approx(2400.25)
    assert row["set"].spread == pytest.approx(4.113, abs=0.001), "sample standard deviation, by hand"
    assert "4 runs: mean" in page.text
    assert "4 runs over time; none outside the limits" in page.text


def test_a_visitor_sees_no_runs_of_a_bench(unit, visitor):
    run(unit, 0, 2400.0)
    builders.a_published_point(unit=unit)
    page = visitor.get(reverse("unit", args=[unit.pk]))
    assert page.status_code == 200
    assert page.context["repeats"] == []


def test_a_reference_run_outside_its_limits_warns_on_all_later_tests_until_one_is_inside(unit, bench, tester):
    for day, capacity_w in enumerate(INSIDE):
        run(unit, day, capacity_w)
    other = builders.a_unit(bench=bench)
    before, bad = run(other, 4, 3000.0), run(unit, 5, 2250.0)
    after = run(other, 6, 3000.0)
    (alarm,) = reference.alarms_at(bench)
    assert alarm.point == bad
    assert alarm.low_w < 2400 < alarm.high_w
    said = {
        point: "The rig may have drifted" in tester.get(reverse("result", args=[point.reduction.session_id])).text
        for point in (before, after)
    }
    assert said == {before: False, after: True}
    assert "The rig may have drifted" in tester.get(reverse("bench-home")).text
    run(unit, 7, 2402.0)
    assert reference.alarms_at(bench) == []
    assert reference.alarms_at(bench, after.start) == [alarm], "what was tested meanwhile stays in doubt"


def test_a_unit_that_is_no_reference_raises_no_alarm(bench):
    unit = builders.a_unit(bench=bench)
    for day, capacity_w in enumerate([*INSIDE, 2250.0]):
        run(unit, day, capacity_w)
    assert reference.alarms_at(bench) == []
