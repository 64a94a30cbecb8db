"""Levels of unit power."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.timeline import Timeline, align
from reduction.session import Role
from reduction.windows.plateaus import levels, power_steps, step_sizes, steps
from tests.reduction.signals import NOON_S, a_series, every, heater


def a_unit(*levels_w: float, minutes: float = 40.0, noise_w: float = 2.0) -> Timeline:
    power = np.repeat(levels_w, int(minutes * 6))
    noise = np.random.default_rng(1).normal(0, noise_w, len(power))
    return align((a_series(every(10.0, len(power) / 360), power + noise, Role.UNIT_POWER),))


def test_a_trace_at_300_520_and_740_watts_gives_three_labelled_plateaus() -> None:
    found = levels(a_unit(300.0, 520.0, 740.0))
    assert [level.power_w for level in found] == pytest.approx([300.0, 520.0, 740.0], abs=1.0)
    assert [level.label.split(",")[0] for level in found] == ["level 1 of 3", "level 2 of 3", "level 3 of 3"]
    assert sum(level.share_of_time for level in found) == pytest.approx(1.0, abs=0.01)


def test_a_level_that_comes_back_keeps_its_name() -> None:
    assert [level.label[:7] for level in levels(a_unit(520.0, 300.0, 522.0))] == ["level 2", "level 1", "level 2"]


def test_a_slow_climb_with_the_outdoor_temperature_is_one_level() -> None:
    power = np.linspace(560.0, 705.0, 1440) + np.random.default_rng(1).normal(0, 2, 1440)
    found = levels(align((a_series(every(10.0, 4), power, Role.UNIT_POWER),)))
    assert len(found) == 1


@pytest.mark.parametrize("noise_w", [0.0, 2.0, 8.0])
def test_steps_are_found_where_they_are(noise_w: float) -> None:
    at = power_steps(a_unit(300.0, 520.0, 740.0, noise_w=noise_w))
    assert at == pytest.approx([240, 480], abs=1)


def test_noise_alone_has_no_step() -> None:
    assert len(power_steps(a_unit(600.0, 600.0, 600.0, noise_w=15.0))) == 0


def test_a_unit_that_cycles_is_one_entry_with_its_mean_power() -> None:
    time = every(10.0, 4)
    (level,) = levels(align((a_series(time, 50 + heater(time, duty=0.6, on_w=700.0), Role.UNIT_POWER),)))
    assert level.power_w == pytest.approx(50 + 0.6 * 700, abs=5.0)
    assert level.label.startswith("cycling, 60% on")


def test_without_unit_power_there_are_no_levels() -> None:
    assert levels(align((a_series(every(10.0, 1), np.full(360, 22.0)),))) == ()


def test_the_filter_agrees_with_plain_means() -> None:
    values = np.random.default_rng(2).normal(size=50)
    sizes = step_sizes(values, 5)
    for at in (1, 3, 20, 47):
        expected = values[at : at + 5].mean() - values[max(0, at - 5) : at].mean()
        assert sizes[at] == pytest.approx(expected)


def test_a_signal_with_holes_is_refused_and_not_guessed() -> None:
    assert len(steps(np.array([1.0, np.nan, 3.0, 4.0, 5.0]), 2, 0.5)) == 0


def test_the_last_minutes_count_from_where_the_plateau_began() -> None:
    found = levels(a_unit(300.0, 740.0))
    assert (found[1].start.timestamp() - NOON_S) / 60 == pytest.approx(40.0, abs=0.2)
