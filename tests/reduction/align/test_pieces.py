"""Exact integrals of logged signals: holds, polls, lines, means of intervals, and gaps with their bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reduction.align.series import Series, energy_over, mean_over, means_over
from reduction.session import Role, SampleKind
from tests.reduction.signals import KWH, NOON_S, WH, a_counter, a_series, clock, every, heater

POWER = Role.HEATER_CYCLING_POWER


def an_event_log_with_an_outage() -> Series:
    stamps = ["18:00", "18:02:10", "18:02:21", "18:04", "18:04:30", "18:07"]
    return a_series(
        [clock(stamp) for stamp in stamps], [0.0, 1187.4, 1185.9, np.nan, 1186.2, 0.0], POWER, kind=SampleKind.HELD
    )


def test_an_event_log_holds_each_value_and_bounds_an_outage() -> None:
    # Computed by hand from the six rows: 11 s at 1187.4 W, 99 s at 1185.9 W, 150 s at 1186.2 W are 85.67 Wh known;
    # 30 s unknown, the same level on both sides; at most 1187.4 W.
    energy = energy_over(an_event_log_with_an_outage(), clock("18:00"), clock("18:10"))
    mean = mean_over(an_event_log_with_an_outage(), clock("18:00"), clock("18:10"))
    assert energy.seen_j / WH == pytest.approx(95.55, abs=0.005)
    assert mean.value == pytest.approx(573.3, abs=0.05)
    assert (energy.low_j / WH, energy.high_j / WH) == pytest.approx((85.67, 95.56), abs=0.006)
    assert mean.known_fraction == pytest.approx(570 / 600)
    assert mean.filled_fraction == pytest.approx(30 / 600)


def test_a_gap_between_different_levels_is_not_filled_but_bounded() -> None:
    log = a_series([0.0, 60.0, 120.0, 180.0], [800.0, np.nan, 0.0, 0.0], POWER, kind=SampleKind.HELD)
    mean = mean_over(log, 0.0, 240.0)
    assert mean.filled_fraction == 0.0
    assert mean.value == pytest.approx(800 * 60 / 180)
    assert (mean.low, mean.high) == pytest.approx((200.0, 400.0))
    assert mean.u_gap == pytest.approx(400 * 60 / np.sqrt(3) / 240)


def test_a_gap_longer_than_the_heater_stays_on_is_not_filled() -> None:
    time = every(10.0, 3)
    power = heater(time)
    power[(time >= NOON_S + 3610) & (time < NOON_S + 5420)] = np.nan
    log = a_series(time, power, POWER, kind=SampleKind.HELD)
    assert mean_over(log, NOON_S, NOON_S + 10_800).filled_fraction == 0.0
    assert mean_over(log, NOON_S, NOON_S + 10_800).value == pytest.approx(750.0, rel=0.01)


def test_a_long_silence_of_an_event_log_is_stale_and_never_a_straight_line() -> None:
    log = a_series([clock("18:05"), clock("18:41")], [742.0, 18.5], Role.UNIT_POWER, kind=SampleKind.HELD)
    mean = mean_over(log, clock("18:05"), clock("18:41"))
    assert mean.known_fraction == pytest.approx(15 / 36)
    assert mean.value == pytest.approx(742.0)
    assert (mean.low, mean.high) == pytest.approx((742.0 * 15 / 36, 742.0))


@pytest.mark.parametrize("interval_s", [10.0, 15.0])
@pytest.mark.parametrize("period_s", [307.0, 451.0, 600.0])
def test_a_polled_heater_is_integrated_without_bias(interval_s: float, period_s: float) -> None:
    # The truth is the duty times the power; phases between poll and switching average out over offsets of the poll.
    whole = 12 * period_s
    found = []
    for offset in np.linspace(0.0, interval_s, 60, endpoint=False):
        time = np.arange(NOON_S - 600 + offset, NOON_S + whole + 600, interval_s)
        found.append(mean_over(a_series(time, heater(time, period_s=period_s), POWER), NOON_S, NOON_S + whole).value)
    assert np.mean(found) == pytest.approx(750.0, rel=1e-3)


def test_what_a_poll_cannot_see_of_the_switching_is_in_its_uncertainty() -> None:
    errors, stated = [], []
    draw = np.random.default_rng(5)
    for _ in range(200):
        time = np.arange(NOON_S, NOON_S + 7200, 15.0) + draw.uniform(0, 15)
        edges = np.cumsum(draw.uniform(200, 400, 40)) + NOON_S
        on = np.searchsorted(edges, time) % 2 == 1
        fine = np.arange(NOON_S + 600, NOON_S + 6600, 0.5)
        truth = 1500.0 * np.mean(np.searchsorted(edges, fine) % 2 == 1)
        mean = mean_over(a_series(time, 1500.0 * on, POWER), NOON_S + 600, NOON_S + 6600)
        errors.append(mean.value - truth)
        stated.append(mean.u_sampling)
    assert np.std(errors) == pytest.approx(np.mean(stated), rel=0.25)


def test_temperatures_of_an_event_log_follow_a_drift_without_lag() -> None:
    time = np.arange(0.0, 7200.0, 300.0)
    assert mean_over(a_series(time, time / 3600, kind=SampleKind.HELD), 0.0, 6900.0).value == pytest.approx(6900 / 7200)


def test_a_mean_belongs_to_the_interval_that_ends_at_its_stamp() -> None:
    log = a_series([clock("18:10"), clock("18:15")], [593.0, 100.0], Role.UNIT_POWER, kind=SampleKind.INTERVAL_MEAN)
    assert mean_over(log, clock("18:05"), clock("18:10")).value == 593.0
    assert mean_over(log, clock("18:08"), clock("18:13")).value == pytest.approx((2 * 593 + 3 * 100) / 5)


def test_the_mean_of_a_slow_quantity_lies_in_the_middle_of_its_interval() -> None:
    time = np.arange(300.0, 7500.0, 300.0)
    log = a_series(time, 20 + (time - 150.0) / 3600, kind=SampleKind.INTERVAL_MEAN)
    assert mean_over(log, 1800.0, 3600.0).value == pytest.approx(20.75)


def test_a_counter_is_differenced_past_a_glitch_and_a_reset() -> None:
    stamps = ["18:00", "18:20", "18:30", "18:30:05", "18:40", "18:41", "19:00"]
    log = a_counter([clock(stamp) for stamp in stamps], [412.31, 412.64, 0.0, 412.81, 412.98, 0.0, 0.31])
    energy = energy_over(log, clock("18:00"), clock("19:00"))
    assert energy.seen_j / KWH == pytest.approx(0.98, abs=1e-9)
    assert (energy.glitches, energy.resets) == (1, 1)
    assert (energy.low_j / KWH, energy.high_j / KWH) == pytest.approx((0.98, 0.997), abs=2e-4)


def test_a_daily_counter_resets_at_local_midnight() -> None:
    new_york_s = -4 * 3600.0
    stamps = [clock("3:58", 15), clock("3:59", 15), clock("4:01", 15), clock("4:02", 15)]
    log = a_counter(stamps, [11.98, 12.01, 0.02, 0.04], midnight_offset_s=new_york_s)
    energy = energy_over(log, stamps[0], stamps[-1])
    assert energy.seen_j / KWH == pytest.approx(0.07)
    assert (energy.high_j - energy.seen_j) / KWH == pytest.approx(0.03)


def test_a_window_beyond_the_log_is_unknown_there() -> None:
    log = a_series(every(10.0, 1), np.full(360, 500.0), Role.UNIT_POWER)
    mean = mean_over(log, NOON_S - 1800, NOON_S + 1800)
    assert mean.value == pytest.approx(500.0)
    assert mean.known_fraction == pytest.approx(0.5, abs=0.002)
    assert (mean.low, mean.high) == pytest.approx((250.0, 500.0), rel=0.01)


def test_a_temperature_beyond_its_log_is_bounded_by_what_it_was() -> None:
    mean = mean_over(a_series(every(10.0, 1), np.linspace(20.0, 24.0, 360)), NOON_S - 3600, NOON_S + 3600)
    assert (mean.low, mean.high) == pytest.approx((21.0, 23.0), abs=0.01)


def test_nothing_known_gives_no_number() -> None:
    log = a_series([0.0, 10.0], [np.nan, np.nan], Role.UNIT_POWER)
    assert np.isnan(mean_over(log, 0.0, 10.0).value)


SAMPLES = st.lists(
    st.tuples(st.floats(1.0, 1200.0), st.one_of(st.just(float("nan")), st.floats(0.0, 3000.0))), min_size=2, max_size=25
)
KINDS = st.sampled_from(
    [
        (POWER, SampleKind.HELD),
        (POWER, SampleKind.INSTANT),
        (Role.ROOM_TEMP, SampleKind.INSTANT),
        (POWER, SampleKind.INTERVAL_MEAN),
    ]
)


@given(SAMPLES, KINDS, st.floats(0.05, 0.95))
def test_a_window_is_the_sum_of_its_parts(
    samples: list[tuple[float, float]], how: tuple[Role, SampleKind], cut: float
) -> None:
    steps, values = zip(*samples, strict=True)
    log = a_series(np.cumsum(steps), values, how[0], kind=how[1], stale_after_s=300.0)
    start, end = 0.0, float(np.sum(steps)) + 100.0
    middle = start + cut * (end - start)
    whole = log.pieces.over(np.array([start]), np.array([end]))
    parts = log.pieces.over(np.array([start, middle]), np.array([middle, end]))
    for name in ("integral", "known_s", "filled_s", "low", "high"):
        assert np.sum(getattr(parts, name)) == pytest.approx(float(getattr(whole, name)[0]), rel=1e-9, abs=1e-4)


@given(SAMPLES, KINDS)
def test_the_bounds_hold_the_value_and_the_shares_stay_within_the_window(
    samples: list[tuple[float, float]], how: tuple[Role, SampleKind]
) -> None:
    steps, values = zip(*samples, strict=True)
    log = a_series(np.cumsum(steps), values, how[0], kind=how[1], stale_after_s=300.0)
    mean = mean_over(log, steps[0], float(np.sum(steps)))
    assert -1e-9 <= mean.known_fraction + mean.filled_fraction <= 1 + 1e-6
    assert mean.low <= mean.high + 1e-6
    if mean.known_fraction + mean.filled_fraction > 1e-6 and np.isfinite(mean.value):
        assert mean.low - 1e-6 <= mean.value <= mean.high + 1e-6


@given(st.integers(0, 2**31), st.floats(-1e5, 1e5))
def test_moving_a_clock_moves_nothing_else(seed: int, shift_s: float) -> None:
    draw = np.random.default_rng(seed)
    time, value = np.cumsum(draw.uniform(1, 100, 30)), draw.uniform(0, 1500, 30)
    here, there = (a_series(NOON_S + time + by, value, POWER) for by in (0.0, round(shift_s)))
    start, end = NOON_S + time[3], NOON_S + time[-3]
    moved = mean_over(there, start + round(shift_s), end + round(shift_s)).value
    assert moved == pytest.approx(mean_over(here, start, end).value, rel=1e-6)


def test_many_windows_at_once_equal_one_by_one() -> None:
    log = a_series(every(7.0, 2), heater(every(7.0, 2)), POWER)
    starts, ends = NOON_S + np.array([0.0, 500.0, 3000.0]), NOON_S + np.array([600.0, 4100.0, 7000.0])
    one_by_one = [mean_over(log, start, end).value for start, end in zip(starts, ends, strict=True)]
    assert means_over(log, starts, ends) == pytest.approx(np.array(one_by_one))


def test_readings_marked_as_missing_one_after_another_make_one_silence() -> None:
    value = np.full(60, 500.0)
    value[20:30] = np.nan
    series = a_series(10.0 * np.arange(60), value, Role.UNIT_POWER, kind=SampleKind.HELD)
    assert len(series.pieces.missing_s) == 10
    assert series.pieces.silences_s.tolist() == [100.0]
