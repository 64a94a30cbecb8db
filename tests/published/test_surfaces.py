"""The published maps against their tabulated points, and points moved by them."""

from __future__ import annotations

import pytest

from reduction.judge.surfaces import RATING_OUTDOOR_C, RATING_WET_BULB_C, modifier, performance_maps
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
