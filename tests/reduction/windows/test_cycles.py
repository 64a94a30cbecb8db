"""Switching of heaters and units: found, counted, snapped to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reduction.align.timeline import align
from reduction.session import Role, SampleKind
from reduction.windows.cycles import (
    Cycle,
    cycle_of,
    cycles_in,
    cycles_within,
    heater_cycle,
    phase_bias_w,
    snapped,
    unit_cycle,
)
from tests.reduction.signals import NOON_S, a_series, every, heater

POWER = Role.HEATER_CYCLING_POWER


def a_cycle(period_s: float = 600.0, duty: float = 0.5, on_w: float = 1500.0, hours: float = 4.0) -> Cycle:
    return Cycle("h", "heater", NOON_S + np.arange(0.0, hours * 3600, period_s), period_s, duty, on_w, 0.0)


def test_a_polled_cycle_is_known_by_period_duty_and_levels() -> None:
    time = every(10.0, 4)
    cycle = cycle_of(a_series(time, heater(time, duty=0.3) + 2.0, POWER), NOON_S, NOON_S + 14_400)
    assert cycle is not None
    assert (cycle.period_s, cycle.on_w, cycle.off_w) == pytest.approx((600.0, 1502.0, 2.0))
    assert cycle.duty == pytest.approx(0.3, abs=0.01)


def test_an_event_log_that_ramps_while_it_switches_has_the_levels_it_stays_on() -> None:
    starts = NOON_S + 600.0 * np.arange(20)
    time = (starts[:, None] + np.array([0.0, 5.0, 10.0, 300.0])).ravel()
    log = a_series(time, np.tile([300.0, 500.0, 750.0, 50.0], 20), Role.UNIT_POWER, kind=SampleKind.HELD)
    cycle = unit_cycle(align((log,)), NOON_S, NOON_S + 12_000)
    assert cycle is not None
    assert (cycle.on_w, cycle.off_w) == (750.0, 50.0)


def test_noise_on_a_level_makes_no_edge() -> None:
    noisy = 600 + np.random.default_rng(1).normal(0, 5, 1440)
    assert cycle_of(a_series(every(10.0, 4), noisy, Role.UNIT_POWER), NOON_S, NOON_S + 14_400) is None


def test_a_unit_that_steps_between_two_speeds_does_not_cycle() -> None:
    time = every(10.0, 4)
    stepping = a_series(time, 300 + heater(time, on_w=400.0), Role.UNIT_POWER)
    assert unit_cycle(align((stepping,)), NOON_S, NOON_S + 14_400) is None


@pytest.mark.parametrize(("swing_k", "duty"), [(10.0, 0.6), (2.0, None)])
def test_a_unit_whose_power_nobody_logged_shows_its_cycle_in_the_supply_air(swing_k: float, duty: float | None) -> None:
    time = every(10.0, 4)
    supply = a_series(time, 22.0 - swing_k * (heater(time, duty=0.6) > 0), Role.SUPPLY_TEMP)
    cycle = unit_cycle(align((supply,)), NOON_S, NOON_S + 14_400)
    assert (cycle.duty if cycle else None) == (None if duty is None else pytest.approx(duty, abs=0.01))


def test_the_heater_with_the_largest_swing_sets_the_phase() -> None:
    time = every(10.0, 4)
    small = a_series(time, heater(time, period_s=400.0, on_w=200.0), Role.OTHER_POWER, column="fan")
    large = a_series(time, heater(time), POWER, column="heater")
    found = heater_cycle(align((small, large)), NOON_S, NOON_S + 14_400)
    assert found is not None
    assert found.key == "heater"


def test_an_edge_inside_an_outage_has_no_time() -> None:
    time = every(10.0, 4)
    power = heater(time)
    lost = (time > NOON_S + 5000) & (time < NOON_S + 5600)
    cycle = cycle_of(a_series(time[~lost], power[~lost], POWER), NOON_S, NOON_S + 14_400)
    assert cycle is not None
    assert not ((cycle.up_s > NOON_S + 5000) & (cycle.up_s < NOON_S + 5600)).any()


def test_a_heater_that_stopped_hours_ago_does_not_cycle_in_the_window() -> None:
    cycle = a_cycle(hours=2.0)
    assert cycles_within(cycle, NOON_S, NOON_S + 7200) is cycle
    assert cycles_within(cycle, NOON_S + 9000, NOON_S + 20_000) is None


def test_a_raw_window_of_35_minutes_may_be_107_watts_off() -> None:
    # 3.5 cycles of ten minutes, half on: 15 to 20 minutes of 1,500 W in 35, against 17.5: ±107.1 W, by hand.
    assert phase_bias_w(a_cycle(), NOON_S, NOON_S + 2100) == pytest.approx(107.14, abs=0.01)


@given(st.floats(100.0, 2000.0), st.floats(0.05, 0.95), st.floats(0.6, 20.0), st.floats(0.0, 1.0))
def test_no_phase_of_a_window_is_further_off_than_the_bound(
    period_s: float, duty: float, periods: float, phase: float
) -> None:
    length = periods * period_s
    grid = phase * period_s + length * (np.arange(20_000) + 0.5) / 20_000
    off = abs(np.mean(grid % period_s < duty * period_s) - duty) * 1500.0
    cycle = Cycle("h", "h", np.zeros(0), period_s, duty, 1500.0, 0.0)
    assert off <= phase_bias_w(cycle, 0.0, length) + 1500.0 * (2 * periods + 4) / 20_000


@given(st.floats(700.0, 4000.0), st.floats(5000.0, 14_000.0))
def test_snapping_moves_each_end_by_at_most_one_period_and_leaves_no_bias(start: float, end: float) -> None:
    first, last = snapped(a_cycle(), NOON_S + start, NOON_S + end)
    assert abs(first - NOON_S - start) <= 600.0
    assert abs(last - NOON_S - end) <= 600.0
    assert phase_bias_w(a_cycle(), first, last) == pytest.approx(0.0, abs=1e-6)


def test_snapping_inward_never_leaves_the_window() -> None:
    first, last = snapped(a_cycle(), NOON_S + 590, NOON_S + 5410, inward=True)
    assert (first - NOON_S, last - NOON_S) == (600.0, 5400.0)


def test_a_window_shorter_than_a_cycle_stays_as_it_is() -> None:
    assert snapped(a_cycle(), NOON_S + 100, NOON_S + 280) == (NOON_S + 100, NOON_S + 280)
    assert cycles_in(a_cycle(), NOON_S + 100, NOON_S + 280) == pytest.approx(0.3)
