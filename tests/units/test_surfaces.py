"""Fitted lines between a unit's points: where they reach, what they hold, what they are made of."""

from __future__ import annotations

import numpy as np
import pytest

from reduction import session as doc
from reduction.ground.moist_air import humidity_ratio, wet_bulb_c
from reduction.judge.surfaces import performance_maps
from tests import builders
from units.compare.comparison import compare

pytestmark = pytest.mark.django_db

HUMID = {"room_temp_c": 26.7, "room_wet_bulb_c": 19.4}


def at_point(unit, outdoor, capacity_w=2300.0, *, limit="at full speed", room=HUMID, **changes):
    """Make a point of the unit at a condition."""
    conditions = {name: doc.Measured(value=value, u=0.1) for name, value in {**room, "outdoor_temp_c": outdoor}.items()}
    verdict = doc.Limit(verdict=limit, because="As it is.")
    return builders.a_point(unit=unit, capacity_w=capacity_w, capacity_kind="total", conditions=conditions,
                            limit=verdict, **changes)  # fmt: skip


@pytest.fixture
def unit(bench):
    return builders.a_unit(bench=bench)


def lines_of(reader, *units, place="outdoor"):
    frame = compare(reader.person, [unit.pk for unit in units]).frames[place]
    return frame[frame["what"] == "fit"]


def test_a_line_reaches_from_the_coolest_to_the_hottest_tested_and_no_further(unit, reader):
    for outdoor in (28.0, 35.0, 40.5):
        at_point(unit, outdoor)
    line = lines_of(reader, unit)
    assert (line["outdoor_temp_c"].min(), line["outdoor_temp_c"].max()) == (28.0, 40.5)
    assert set(line["point"]) == {"fit of 3 points"}


def test_one_condition_gives_no_line(unit, reader):
    for outdoor in (34.5, 35.2, 36.0):
        at_point(unit, outdoor)
    assert lines_of(reader, unit).empty


def test_points_a_unit_held_back_in_or_iced_at_bend_no_line(unit, reader):
    at_point(unit, 28.0, limit="reduced speed")
    at_point(unit, 30.0, limit="coil near freezing")
    at_point(unit, 35.0)
    assert lines_of(reader, unit).empty


def test_points_that_follow_a_published_map_are_fitted_by_that_map(unit, reader):
    """The map's own tabulated surface: `reduction/data/capacity_surfaces.csv`, with its source beside it there."""
    published = performance_maps()["window_lab"]
    for outdoor in (27.0, 31.0, 35.0, 40.0):
        at_point(unit, outdoor, 2500.0 * published.relative_capacity(19.4, outdoor), capacity_u95_w=10.0)
    line = lines_of(reader, unit)
    wanted = [2500.0 * published.relative_capacity(19.4, outdoor) for outdoor in line["outdoor_temp_c"]]
    assert line["capacity"].to_numpy() == pytest.approx(wanted, rel=0.004)
    assert (np.abs(line["capacity"] - wanted) <= line["capacity_u95"]).all()


def test_an_error_that_all_points_share_does_not_shrink_with_their_number(unit, reader):
    """One plug with 50 W of error in each of six points: the line is known to 100 W at best, at 95 %."""
    line = doc.Component(
        name="plug", value=1.0, quantity_unit="W", u=50.0, sensitivity=1.0, contribution_w=50.0, share=1.0,
        shared_key="instrument:plug",
    )  # fmt: skip
    for outdoor in (28.0, 30.0, 32.0, 35.0, 38.0, 40.0):
        at_point(unit, outdoor, capacity_u95_w=101.0, budget=(line,))
    assert lines_of(reader, unit)["capacity_u95"].min() >= 99.0


def test_along_room_temperature_the_humidity_is_held_and_the_wet_bulb_follows(unit, reader):
    for room in (22.0, 26.0, 28.0):
        wet = float(wet_bulb_c(room, humidity_ratio(room, 50.0)))
        at_point(unit, 35.0, room={"room_temp_c": room, "room_wet_bulb_c": wet, "room_rh_percent": 50.0})
    line = lines_of(reader, unit, place="room")
    # 26 °C at 50 % has a wet bulb of 18.7 °C: psychrometric chart at sea level (from memory)
    at_26 = np.interp(26.0, line["room_temp_c"].astype(float), line["room_wet_bulb_c"].astype(float))
    assert at_26 == pytest.approx(18.7, abs=0.1)


def test_without_a_known_humidity_there_is_no_line_along_room_temperature(unit, reader):
    for room in (22.0, 28.0):
        at_point(unit, 35.0, room={"room_temp_c": room})
    assert lines_of(reader, unit, place="room").empty


def test_the_other_conditions_are_held_at_a_state_that_was_tested(unit, reader):
    for outdoor, wet in ((28.0, 14.0), (35.0, 14.5), (40.0, 19.4)):
        at_point(unit, outdoor, room={"room_temp_c": 26.7, "room_wet_bulb_c": wet})
    assert set(lines_of(reader, unit)["room_wet_bulb_c"]) == {14.5}
