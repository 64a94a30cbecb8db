"""The published maps against their tabulated points, and points moved by them."""

from __future__ import annotations

import pytest

from reduction.judge.rated_point import RatedPoint
from reduction.judge.rating import rating_correction
from reduction.judge.surfaces import RATING_OUTDOOR_C, RATING_WET_BULB_C, modifier, performance_maps
from reduction.session import Condition, Limit, Measured, UnitKind
from tests.published.rows import Row, published


@pytest.mark.parametrize("row", published("surfaces"), ids=lambda row: f"{row.map} {row.quantity} {row.source}")
def test_a_map_passes_through_its_tabulated_points(row: Row) -> None:
    surface = getattr(performance_maps()[row.map], row.quantity)
    assert row.agrees(surface(row.wet_bulb_c, row.outdoor_temp_c))


@pytest.mark.parametrize("row", published("surface_modifiers"), ids=lambda row: f"{row.map} {row.quantity}")
def test_flow_and_part_load_modify_a_map_as_published(row: Row) -> None:
    assert row.agrees(modifier(row.map, row.quantity, row.ratio))


@pytest.mark.parametrize("row", published("moved_points"), ids=lambda row: row.source)
def test_a_point_is_moved_to_the_rating_condition_by_each_map(row: Row) -> None:
    each = performance_maps()[row.map]
    reference = each.relative_capacity(RATING_WET_BULB_C, RATING_OUTDOOR_C)
    assert row.agrees(row.capacity_w * reference / each.relative_capacity(row.wet_bulb_c, row.outdoor_temp_c))


def test_a_correction_lies_between_the_two_maps_and_leaves_what_is_between_them_open() -> None:
    """C22 through the correction itself: both maps are mixed, and their distance is part of its ±."""
    ends = sorted(row.value for row in published("moved_points"))
    given = published("moved_points")[0]
    point = RatedPoint(
        kind=UnitKind.WINDOW, capacity=Measured(value=given.capacity_w, u=0.0), power=Measured(value=800.0, u=0.0),
        room_temp_c=Measured(value=24.0, u=0.0), room_wet_bulb_c=Measured(value=given.wet_bulb_c, u=0.0),
        outdoor_temp_c=Measured(value=given.outdoor_temp_c, u=0.0), limit=Limit(verdict="at full speed", because=""),
    )  # fmt: skip
    moved = rating_correction([point], Condition(room_wet_bulb_c=RATING_WET_BULB_C, outdoor_temp_c=RATING_OUTDOOR_C))
    assert moved is not None
    assert ends[0] <= moved.capacity_w <= ends[1]
    assert moved.model_u95_fraction * moved.capacity_w >= ends[1] - ends[0]
