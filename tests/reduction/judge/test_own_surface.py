"""A unit's own surface along outdoor temperature: shrunk towards published maps, honest about what points share."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from reduction.judge.claims import default_condition
from reduction.judge.own_surface import fitted_surface, map_value
from reduction.judge.rated_point import RatedPoint, common_errors
from reduction.judge.rating import rating_correction
from reduction.judge.surfaces import performance_maps
from reduction.session import Limit, Measured, UnitKind

OUTDOOR = np.arange(20.0, 46.0, 1.0)
WET_BULB_C = 19.0


def _point(outdoor_temp_c: float, capacity_w: float, u_w: float = 8.0, **changes: Any) -> RatedPoint:
    point = RatedPoint(
        kind=UnitKind.WINDOW,
        capacity=Measured(value=capacity_w, u=u_w),
        power=Measured(value=900.0, u=4.0),
        room_temp_c=Measured(value=26.7, u=0.05),
        room_wet_bulb_c=Measured(value=WET_BULB_C, u=0.05),
        outdoor_temp_c=Measured(value=outdoor_temp_c, u=0.05),
        limit=Limit(verdict="at full speed", because=""),
    )
    return replace(point, **changes)


def _on_lab_map(outdoor_temp_c: float, tilt_per_k: float = 0.0) -> RatedPoint:
    lab = performance_maps()["window_lab"]
    shape = map_value(lab, "capacity", WET_BULB_C, outdoor_temp_c) * (1.0 + tilt_per_k * (outdoor_temp_c - 35.0))
    return _point(outdoor_temp_c, 2600.0 * shape)


def test_a_single_point_follows_the_published_maps_and_widens_on_both_sides() -> None:
    surface = fitted_surface([_on_lab_map(30.0)], OUTDOOR, WET_BULB_C)
    relative = surface.capacity_u95_w / surface.capacity_w
    assert OUTDOOR[relative.argmin()] == 30.0
    assert np.all(np.diff(relative[OUTDOOR >= 30.0]) > 0.0)
    assert np.all(np.diff(relative[OUTDOOR <= 30.0]) < 0.0)
    assert surface.measured_c == (30.0, 30.0)


def test_points_pull_the_surface_from_the_maps_towards_themselves() -> None:
    tilt = -0.008
    points = [_on_lab_map(t, tilt) for t in (24.0, 30.0, 36.0, 42.0)]
    own, lab = (fitted_surface(chosen, OUTDOOR, WET_BULB_C) for chosen in (points, [_on_lab_map(30.0)]))
    hot = OUTDOOR == 42.0
    assert own.capacity_w[hot] == pytest.approx(points[3].capacity.value, rel=0.01)
    assert own.capacity_w[hot] < lab.capacity_w[hot] - 2.0 * own.capacity_u95_w[hot]
    assert own.points == 4


def test_the_surface_at_a_rating_condition_is_the_rating_correction() -> None:
    points, condition = [_on_lab_map(t) for t in (26.0, 33.0)], default_condition(UnitKind.WINDOW)
    surface = fitted_surface(points, [condition.outdoor_temp_c], condition.room_wet_bulb_c)
    rated = rating_correction(points, condition)
    assert (surface.capacity_w[0], surface.capacity_u95_w[0]) == (rated.capacity_w, rated.capacity_u95_w)
    assert (surface.eer_btu_per_wh[0], surface.eer_u95[0]) == (rated.eer_btu_per_wh, rated.eer_u95)


def test_an_error_that_all_points_share_does_not_average_out() -> None:
    # Own algebra: four equal points, u = 2 %, wholly of one meter's gain: 2 % stay; wholly their own: about 1 %.
    gain = {"capacity": {"instrument:plug:gain": 0.02}}
    here = [_point(35.0, 2500.0, 50.0) for _ in range(4)]
    alone, together = (
        fitted_surface([replace(p, common=common) for p in here], [35.0], WET_BULB_C) for common in ({}, gain)
    )
    spread = alone.capacity_u95_w[0] ** 2 - 4.0 * 25.0**2
    assert together.capacity_u95_w[0] ** 2 - spread == pytest.approx(4.0 * 50.0**2, rel=0.01)


def test_what_a_budget_shares_is_its_keyed_lines_over_the_figure() -> None:
    budget, eer_budget = [("plug:gain", 25.0), (None, 40.0)], [("plug:gain", -0.1), ("meter:gain", 0.05)]
    common = common_errors(2500.0, budget, 10.0, eer_budget)
    assert common["capacity"] == {"plug:gain": 0.01}
    assert common["power"] == {"plug:gain": pytest.approx(0.02), "meter:gain": pytest.approx(-0.005)}
    assert common_errors(2500.0, budget, None, [])["power"] == {}


@pytest.mark.parametrize("verdict", ["unit off", "not steady", "cycling", "coil near freezing"])
def test_a_point_no_map_describes_gives_no_surface(verdict: str) -> None:
    assert fitted_surface([_point(35.0, 2500.0, limit=Limit(verdict=verdict, because=""))], OUTDOOR, 19.0) is None
    assert fitted_surface([], OUTDOOR, 19.0) is None
