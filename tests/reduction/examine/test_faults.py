"""Masks of faults on a channel's own samples."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.examine import faults
from reduction.session import Role, SampleKind
from tests.reduction.signals import NOON_S, a_series, every


def wobbling(level: float = 22.0, hours: float = 2.0, sigma: float = 0.05) -> np.ndarray:
    time = every(10.0, hours)
    return level + 0.3 * np.sin((time - NOON_S) / 300) + np.random.default_rng(1).normal(0, sigma, len(time))


def test_a_power_up_reading_is_a_spike_and_a_hot_outlet_is_not() -> None:
    value = wobbling()
    value[50] = 85.0
    value[90:92] = 84.0
    assert np.flatnonzero(faults.spiking(a_series(every(10.0, 2), value))).tolist() == [50, 90, 91]
    hot = a_series(every(10.0, 2), wobbling(85.0), Role.CONDENSER_OUTLET_TEMP)
    assert not faults.spiking(hot).any()


def test_a_real_step_is_no_spike() -> None:
    value = wobbling()
    value[300:] += 12.0
    assert not faults.spiking(a_series(every(10.0, 2), value, Role.SUPPLY_TEMP)).any()


def test_power_may_jump() -> None:
    value = np.zeros(100)
    value[50] = 1500.0
    assert not faults.spiking(a_series(np.arange(100.0) * 10, value, Role.HEATER_CYCLING_POWER)).any()


@pytest.mark.parametrize(
    ("role", "value"),
    [(Role.ROOM_TEMP, -127.0), (Role.ROOM_RH, 999.9), (Role.UNIT_POWER, 65_535.0), (Role.OUTDOOR_TEMP, 999.9)],
)
def test_sentinels_are_out_of_range(role: Role, value: float) -> None:
    assert faults.out_of_range(a_series([0.0, 10.0], [20.0, value], role)).tolist() == [False, True]


def test_a_run_of_one_value_is_stuck_and_a_short_one_is_not() -> None:
    value = wobbling()
    value[100:500] = 21.5
    mask = faults.stuck(a_series(every(10.0, 2), value))
    assert (mask.sum(), mask[100], mask[499]) == (400, True, True)
    assert not faults.stuck(a_series(every(10.0, 2), value), for_at_least_s=5000.0).any()


def test_an_event_log_is_judged_by_its_silence() -> None:
    log = a_series([0.0, 60.0, 4000.0, 4060.0], [21.0, 21.1, 21.2, 21.3], kind=SampleKind.HELD)
    assert faults.stuck(log).tolist() == [False, True, False, False]


def test_humidity_at_the_end_of_its_scale_is_saturated() -> None:
    value = np.clip(wobbling(99.0, sigma=0.3) + np.linspace(-30, 10, 720), 0, 99.9)
    mask = faults.saturated(a_series(every(10.0, 2), value, Role.ROOM_RH))
    assert mask.any()
    assert (value[mask] == 99.9).all()


def test_a_ripple_that_touches_its_maximum_is_not_saturated() -> None:
    assert not faults.saturated(a_series(every(10.0, 2), wobbling().round(1))).any()


def test_a_heading_that_lies_about_its_unit_is_recognised() -> None:
    assert faults.fahrenheit_as_celsius(a_series(every(10.0, 2), wobbling(78.9)))
    assert faults.celsius_as_fahrenheit(a_series(every(10.0, 2), wobbling((24.0 - 32) / 1.8)))


@pytest.mark.parametrize(
    ("role", "level"), [(Role.ROOM_TEMP, 24.0), (Role.CONDENSER_OUTLET_TEMP, 55.0), (Role.SUPPLY_TEMP, 2.0)]
)
def test_a_plausible_level_is_no_unit_mix_up(role: Role, level: float) -> None:
    series = a_series(every(10.0, 2), wobbling(level), role)
    assert not faults.fahrenheit_as_celsius(series)
    assert not faults.celsius_as_fahrenheit(series)


def test_supply_warmer_than_return_counts_only_while_the_unit_runs() -> None:
    time = every(10.0, 2)
    power = a_series(time, np.repeat([0.0, 700.0], 360), Role.UNIT_POWER)
    supply = a_series(time, np.repeat([26.0, 8.0], 360), Role.SUPPLY_TEMP)
    back = a_series(time, np.full(720, 24.0), Role.RETURN_TEMP)
    share, mean = faults.swapped(back, supply, power)
    assert share == pytest.approx(0.0, abs=0.1)
    assert faults.swapped(supply, back, power)[0] == pytest.approx(1.0, abs=0.1)
    assert mean == pytest.approx(16.0, abs=1.5)
