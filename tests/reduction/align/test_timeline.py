"""The aligned grid, means of groups, slopes and end values."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.timeline import MOST_CELLS, align, end_values, group_cells, group_mean, slope_over
from reduction.session import Role, Settings
from tests.reduction.signals import NOON_S, a_series, every


def test_series_of_different_pace_share_one_grid() -> None:
    fast = a_series(every(1.0, 1), np.full(3600, 22.0), column="fast")
    slow = a_series(every(60.0, 1), np.full(60, 24.0), column="slow")
    timeline = align((fast, slow), Settings(grid_s=10.0))
    assert set(map(len, timeline.cells.values())) == {360}
    assert np.nanmean(timeline.cells["slow"]) == pytest.approx(24.0)


def test_a_cell_that_is_mostly_unknown_has_no_value() -> None:
    time = np.concatenate([every(10.0, 0.5), every(10.0, 0.5) + 3600])
    timeline = align(
        (a_series(time, np.full(360, 500.0), Role.UNIT_POWER, column="a"), a_series(time[::-1][::-1], time * 0 + 22))
    )
    lost = np.isnan(timeline.cells["a"])
    assert lost.sum() == 0  # the same level on both sides of the gap: filled
    steps = a_series(time, np.repeat([500.0, 700.0], 180), Role.UNIT_POWER, column="b")
    assert np.isnan(align((steps,)).cells["b"]).sum() == pytest.approx(180, abs=2)


def test_a_log_of_months_gets_wider_cells_not_a_full_memory() -> None:
    timeline = align((a_series([NOON_S, NOON_S + 365 * 86_400.0], [20.0, 21.0]),))
    assert len(timeline.grid_s) <= MOST_CELLS
    assert timeline.end_s >= NOON_S + 365 * 86_400


def test_a_series_left_out_is_in_no_mean() -> None:
    sound, stuck = (
        a_series(every(10.0, 1), np.full(360, 22.0), column="a"),
        a_series(every(10.0, 1), np.full(360, 30.0), column="b"),
    )
    timeline = align((sound, stuck), left_out=frozenset({"b"}))
    assert [s.key for s in timeline.of(Role.ROOM_TEMP)] == ["a"]
    assert np.nanmean(group_cells(timeline, Role.ROOM_TEMP)) == pytest.approx(22.0)


def test_a_sensor_that_starts_late_makes_no_step_in_the_mean_of_the_room() -> None:
    late = every(10.0, 1)[180:]
    pair = (a_series(every(10.0, 1), np.full(360, 22.0), column="a"), a_series(late, np.full(180, 24.0), column="b"))
    mean = group_cells(align(pair), Role.ROOM_TEMP)
    assert mean == pytest.approx(np.full(len(mean), 23.0))


def test_the_spread_of_the_room_sensors_is_kept() -> None:
    pair = tuple(a_series(every(10.0, 1), np.full(360, t), column=str(t)) for t in (21.9, 22.1, 22.3))
    mean = group_mean(pair, NOON_S, NOON_S + 3000)
    assert (mean.value, mean.spread) == pytest.approx((22.1, 0.2))


def test_a_slope_agrees_with_numpys_line() -> None:
    draw = np.random.default_rng(4)
    time = every(10.0, 2)
    timeline = align((a_series(time, 22 + 0.2 * (time - NOON_S) / 3600 + draw.normal(0, 0.05, len(time))),))
    cells = group_cells(timeline, Role.ROOM_TEMP)
    slope = slope_over(timeline, cells, NOON_S + 600, NOON_S + 6600)
    inside = slice(60, 660)
    expected = np.polyfit(timeline.grid_s[inside] - NOON_S, cells[inside], 1)[0]
    assert slope.per_s == pytest.approx(expected, rel=1e-9)
    assert slope.residual_rms == pytest.approx(0.05 / np.sqrt(2), rel=0.3)


def test_averaging_over_the_cycle_keeps_a_saw_tooth_from_tilting_the_line() -> None:
    time = every(10.0, 1)
    ripple = 0.5 * (((time - NOON_S) % 1200) / 1200)
    timeline = align((a_series(time, 22 + ripple),))
    cells = group_cells(timeline, Role.ROOM_TEMP)
    raw = slope_over(timeline, cells, NOON_S, NOON_S + 3600).per_s * 3600
    smooth = slope_over(timeline, cells, NOON_S, NOON_S + 3600, cycle_s=1200.0).per_s * 3600
    assert abs(raw) > 0.05
    assert smooth == pytest.approx(0.0, abs=0.005)


def test_end_values_are_smoothed_over_whole_cycles() -> None:
    time = every(10.0, 3)
    room = 22 + 0.1 * (time - NOON_S) / 3600 + 0.3 * np.sin(2 * np.pi * (time - NOON_S) / 600)
    timeline = align((a_series(time, room),))
    first, last = end_values(timeline, group_cells(timeline, Role.ROOM_TEMP), NOON_S + 1800, NOON_S + 9000, 600.0)
    assert last - first == pytest.approx(0.2, abs=0.005)


def test_nothing_logged_is_an_empty_room_not_a_crash() -> None:
    timeline = align(())
    assert np.isnan(group_cells(timeline, Role.ROOM_TEMP)).all()
    assert np.isnan(group_mean((), 0.0, 1.0).value)
    assert np.isnan(slope_over(timeline, group_cells(timeline, Role.ROOM_TEMP), 0.0, 1.0).per_s)
