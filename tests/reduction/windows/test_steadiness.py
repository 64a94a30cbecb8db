"""Statistics of all pairs of blocks against plain ones, and limits that carry their source."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.timeline import align
from reduction.ground.tables import table
from reduction.session import Role
from reduction.windows.steadiness import (
    Blocks,
    block_edges,
    blocks_of,
    default_limits,
    deviations,
    pair_means,
    slopes_per_h,
    statistics,
    variations_percent,
)
from tests.reduction.signals import NOON_S, a_series, every
from tests.reduction.windows.test_cycles import a_cycle

DRAW = np.random.default_rng(3)
WEIGHT, VALUE = DRAW.uniform(60, 600, 25), DRAW.normal(500, 5, 25)
CENTRE = NOON_S + np.cumsum(WEIGHT)
PAIRS = [(0, 24), (3, 9), (10, 11), (7, 24)]


@pytest.mark.parametrize(("i", "j"), PAIRS)
def test_every_pair_agrees_with_numpy(i: int, j: int) -> None:
    part = slice(i, j + 1)
    mean = np.average(VALUE[part], weights=WEIGHT[part])
    line = np.polyfit((CENTRE[part] - NOON_S) / 3600, VALUE[part], 1, w=np.sqrt(WEIGHT[part]))[0]
    spread = np.sqrt(np.average((VALUE[part] - mean) ** 2, weights=WEIGHT[part]))
    assert pair_means(WEIGHT, VALUE)[i, j] == pytest.approx(mean)
    assert slopes_per_h(CENTRE, WEIGHT, VALUE)[i, j] == pytest.approx(line, rel=1e-6)
    assert deviations(WEIGHT, VALUE)[i, j] == pytest.approx(np.max(np.abs(VALUE[part] - mean)))
    assert variations_percent(WEIGHT, VALUE)[i, j] == pytest.approx(100 * spread / mean, rel=1e-6)


def test_what_is_asked_from_the_first_block_only_is_the_first_row() -> None:
    blocks = Blocks(np.arange(6.0) * 600, dict.fromkeys(("room_temp", "room_rh", "unit_power"), VALUE[:5] * 10))
    whole, first = statistics(blocks), statistics(blocks, firsts=1)
    assert set(whole) == set(first)
    assert all(first[name] == pytest.approx(whole[name][:1], nan_ok=True) for name in whole)


def test_an_unknown_block_has_no_weight() -> None:
    edges = np.arange(6.0) * 600
    full = Blocks(edges, {"room_temp": np.array([22.0, 22.1, np.nan, 22.3, 22.4])})
    assert statistics(full)["room_temp_slope"][0, -1] == pytest.approx(0.6)
    assert statistics(full)["room_temp_deviation"][0, -1] == pytest.approx(0.2)


def test_block_means_are_those_of_the_grid() -> None:
    timeline = align((a_series(every(10.0, 1), np.linspace(20, 23.59, 360)),))
    blocks = blocks_of(timeline, NOON_S + np.array([600.0, 1200.0, 1500.0]))
    cells = timeline.cells["room_temp"]
    assert blocks.means["room_temp"] == pytest.approx([cells[60:120].mean(), cells[120:150].mean()])


def test_the_return_air_stands_in_for_a_missing_room_sensor() -> None:
    timeline = align((a_series(every(10.0, 1), np.full(360, 22.0), Role.RETURN_TEMP),))
    assert blocks_of(timeline, NOON_S + np.array([0.0, 600.0])).means["room_temp"] == pytest.approx([22.0])


def test_blocks_are_whole_cycles_where_there_are_enough_and_minutes_otherwise() -> None:
    assert np.diff(block_edges(NOON_S, NOON_S + 7200, a_cycle(), most=100)) == pytest.approx(600.0)
    assert len(block_edges(NOON_S, NOON_S + 1200, a_cycle(), most=100)) == 21
    assert len(block_edges(NOON_S, NOON_S + 14_000, a_cycle(period_s=20.0), most=100)) <= 102


def test_each_limit_names_its_source_and_what_it_was_widened_from() -> None:
    limits = default_limits()
    assert all(limit.source for limit in limits.values())
    row = limits["room_temp_deviation"].judged(0.4)
    assert row.passed
    assert row.source.endswith("widened from 0.5 K")
    assert not limits["room_temp_slope"].judged(0.5).passed


def test_no_limit_is_narrower_than_what_it_was_widened_from() -> None:
    assert all(float(row["limit"]) >= float(row["widened_from"] or 0) for row in table("steady_tolerances"))
