"""Registers that only grow: what is noise, what is a glitch, what is a reset."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reduction.align.counters import counter_of
from reduction.align.courses import counted
from reduction.align.series import energy_over
from tests.reduction.signals import KWH, a_counter


def test_a_fall_to_nought_that_stays_is_a_reset_and_not_a_glitch() -> None:
    counter = counter_of(np.array([0.0, 600, 1200, 1800]), np.array([439.5, 439.6, 0.7, 0.8]))
    assert counter.glitches.tolist() == []
    assert counter.resets.tolist() == [1200.0]
    assert counter.energy.sum() == pytest.approx(0.1 + 0.7 + 0.1)


def test_the_return_from_a_glitch_is_not_consumption() -> None:
    counter = counter_of(np.array([0.0, 10, 20, 30]), np.array([15_500.0, 15_500.1, 0.0, 15_500.2]))
    assert counter.energy.sum() == pytest.approx(0.2)


def test_a_small_dip_is_noise_and_not_a_reset() -> None:
    counter = counter_of(np.array([0.0, 600, 1200, 1800]), np.array([100.0, 100.5, 100.4, 100.9]))
    assert counter.resets.tolist() == []


def test_a_coarse_step_is_known_as_the_step() -> None:
    assert energy_over(a_counter([0, 600, 1200], [1.00, 1.01, 1.03]), 0, 1200).step_j / KWH == pytest.approx(0.01)


@given(st.lists(st.floats(0.0, 0.5), min_size=3, max_size=30), st.data())
def test_a_reset_never_makes_energy_and_its_bounds_hold_the_truth(used: list[float], data: st.DataObject) -> None:
    # Truth: a register that grows at a pace of at most 0.5 a minute and falls to nought once between two readings.
    time = 60.0 * np.arange(len(used) + 1)
    register = np.concatenate([[50.0], 50.0 + np.cumsum(used)])
    at = data.draw(st.integers(1, len(used)))
    part = data.draw(st.floats(0.0, 1.0))
    fallen = np.where(np.arange(len(register)) >= at, register - register[at] + part * used[at - 1], register)
    counter = counter_of(time, fallen)
    rates = [used[max(0, at - 2)], used[min(len(used) - 1, at)]]
    seen, most = counter.energy.sum(), counter.energy.sum() + counter.unseen.sum()
    assert seen <= np.sum(used) + 1e-6
    if used[at - 1] <= max(rates[0] if at > 1 else 0.0, rates[1] if at < len(used) else 0.0):
        assert most >= np.sum(used) - 1e-6


def test_a_counter_with_one_reading_knows_nothing() -> None:
    assert counted(counter_of(np.array([0.0]), np.array([5.0]))).known.tolist() == [False]
