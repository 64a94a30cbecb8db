"""Points beside points."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import nnls

from reduction.compare import comparability, control_chart, difference, order, pool, probability_above
from reduction.session import Measured


def test_pooled_repeats_are_the_weighted_mean_of_least_squares() -> None:
    # Source: weights 1/u², u² = 1/Σ(1/u²), any text on least squares.
    pooled = pool([10.0, 12.0], np.diag([1.0, 4.0]))
    assert pooled.value == pytest.approx((10.0 / 1.0 + 12.0 / 4.0) / (1.0 + 0.25))
    assert pooled.u == pytest.approx(np.sqrt(1.0 / 1.25))
    assert pooled.consistent


def test_repeats_with_one_thermometer_are_not_known_better_than_it() -> None:
    common = 900.0
    covariance = np.full((4, 4), common) + np.diag([100.0] * 4)
    assert pool([2400.0, 2410.0, 2390.0, 2400.0], covariance).u == pytest.approx(np.sqrt(common + 100.0 / 4))


def test_repeats_that_differ_by_more_than_they_know_are_widened_and_said() -> None:
    pooled = pool([2400.0, 2300.0, 2500.0], np.diag([100.0] * 3))
    assert not pooled.consistent
    assert pooled.birge == pytest.approx(10.0)
    assert pooled.u == pytest.approx(10.0 * np.sqrt(100.0 / 3))


def test_repeats_need_a_covariance_of_their_size() -> None:
    with pytest.raises(ValueError, match="3 values with a covariance of shape"):
        pool([1.0, 2.0, 3.0], np.eye(2))


def test_peelles_puzzle_is_answered_within_its_two_values() -> None:
    """1.5 and 1.0, a tenth of each of its own and a fifth of each in common: 0.88 ± 0.22 by plain least squares.

    Source: the puzzle as it is handed down in nuclear data evaluation (from memory; the 0.88 is checked here).
    """
    values, own, common = np.array([1.5, 1.0]), 0.1, 0.2
    covariance = np.diag((own * values) ** 2) + np.outer(common * values, common * values)
    solved = np.linalg.solve(covariance, np.ones(2))
    assert solved @ values / solved.sum() == pytest.approx(0.88, abs=0.005)
    pooled = pool(list(values), covariance)
    assert (pooled.value, pooled.weights) == (1.0, (0.0, 1.0))
    assert pooled.u >= common * 1.0


RUNS = st.lists(
    st.tuples(st.floats(500.0, 5000.0), st.floats(1.0, 100.0), st.floats(0.0, 300.0), st.floats(-80.0, 80.0)),
    min_size=1,
    max_size=9,
)


def _of(runs: list[tuple[float, float, float, float]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return values, their covariance by two common errors beside each one's own, and the first of the two."""
    values, own, first, second = (np.array(column) for column in zip(*runs, strict=True))
    return values, np.diag(own**2) + np.outer(first, first) + np.outer(second, second), first


@given(RUNS)
def test_a_pooled_mean_lies_within_its_repeats_and_knows_no_more_than_they_share(
    runs: list[tuple[float, float, float, float]],
) -> None:
    values, covariance, shared = _of(runs)
    pooled = pool(list(values), covariance)
    assert min(pooled.weights) >= 0.0
    assert sum(pooled.weights) == pytest.approx(1.0)
    assert values.min() - 1e-6 <= pooled.value <= values.max() + 1e-6
    assert pooled.u >= shared.min() * (1.0 - 1e-9)
    assert pooled.u <= np.sqrt(np.diag(covariance).min()) * max(1.0, pooled.birge) * (1.0 + 1e-9)


@given(RUNS)
def test_no_other_average_of_the_repeats_varies_less(runs: list[tuple[float, float, float, float]]) -> None:
    """Source: non-negative least squares of scipy, which solves the same problem as one of distance."""
    _, covariance, _ = _of(runs)
    scale = np.sqrt(np.diag(covariance).mean())
    design = np.vstack([np.linalg.cholesky(covariance).T / scale, np.ones(len(covariance))])
    solved, _ = nnls(design, np.append(np.zeros(len(covariance)), 1.0))
    least = (solved / solved.sum()) @ covariance @ (solved / solved.sum())
    weights = np.array(pool([0.0] * len(runs), covariance).weights)
    assert weights @ covariance @ weights <= least * (1.0 + 1e-6)


@given(st.lists(st.tuples(st.floats(500.0, 5000.0), st.floats(1.0, 100.0)), min_size=1, max_size=9))
def test_without_common_errors_it_is_the_ordinary_weighted_mean(runs: list[tuple[float, float]]) -> None:
    values, own = (np.array(column) for column in zip(*runs, strict=True))
    pooled, weights = pool(list(values), np.diag(own**2)), 1.0 / own**2
    assert pooled.value == pytest.approx(weights @ values / weights.sum())
    assert pooled.weights == pytest.approx(tuple(weights / weights.sum()))


@given(RUNS, st.floats(-400.0, 400.0))
def test_what_all_repeats_share_alike_does_not_make_them_differ(
    runs: list[tuple[float, float, float, float]], together: float
) -> None:
    """Own algebra: an error that shifts all repeats alike says nothing of how far apart they lie."""
    values, covariance, _ = _of(runs)
    shifted = pool(list(values), covariance + together**2)
    assert shifted.birge == pytest.approx(pool(list(values), covariance).birge, rel=1e-4, abs=1e-6)


def test_two_units_on_the_same_plugs_are_told_apart_better_than_either_is_known() -> None:
    shared, own = 50.0**2, 15.0**2
    covariance = np.array([[shared + own, shared], [shared, shared + own]])
    apart = difference([2400.0, 2350.0], covariance, 0, 1)
    assert apart.u == pytest.approx(np.sqrt(2 * own))
    assert order([2400.0, 2350.0], covariance) == ((0,), (1,))
    assert order([2400.0, 2350.0], np.diag([shared + own] * 2)) == ((0, 1),)


def test_no_order_is_shown_that_one_pair_would_not_bear_out() -> None:
    # 100 and 92 are apart, but 96 is not told from either: all stand in one group.
    assert order([100.0, 96.0, 92.0], np.diag([4.0, 4.0, 4.0])) == ((0, 1, 2),)


@given(st.lists(st.floats(500.0, 5000.0), min_size=1, max_size=12), st.floats(1.0, 300.0))
def test_groups_hold_every_unit_once_and_every_pair_across_them_is_sure(values: list[float], u: float) -> None:
    covariance = np.diag([u**2] * len(values))
    groups = order(values, covariance)
    assert sorted(i for group in groups for i in group) == list(range(len(values)))
    above = probability_above(values, covariance)
    for n, group in enumerate(groups):
        for lower in groups[n + 1 :]:
            assert min(above[i, j] for i in group for j in lower) >= 0.95


def test_a_thousand_units_are_ordered_in_well_under_a_second() -> None:
    values = np.linspace(1000.0, 5000.0, 1000)
    began = time.perf_counter()
    groups = order(list(values), np.diag([30.0**2] * 1000))
    assert time.perf_counter() - began < 1.0
    assert len(groups) == 1


def test_conditions_are_compared_at_the_condenser_inlet_where_both_have_it() -> None:
    def at(inlet: float, outdoor: float) -> dict[str, Measured]:
        return {
            "condenser_inlet_temp_c": Measured(value=inlet, u=0.1),
            "outdoor_temp_c": Measured(value=outdoor, u=0.1),
            "room_temp_c": Measured(value=26.7, u=0.1),
        }

    assert comparability(at(35.0, 25.0), at(35.5, 31.0)).comparable
    apart = comparability(at(35.0, 25.0), at(38.0, 25.0))
    assert not apart.comparable
    assert "condenser inlet differs by 3.0 K" in apart.because


def test_a_reference_run_outside_its_limits_alarms_only_once_there_are_runs_to_judge_by() -> None:
    drifting = control_chart([2400.0, 2200.0, 2400.0, 2400.0, 2050.0], [5.0] * 5)
    assert drifting.outside.tolist() == [False] * 5
    steady = control_chart([2400.0, 2402.0, 2398.0, 2430.0], [2.0] * 4)
    assert steady.outside.tolist() == [False, False, False, True]
    assert np.isnan(steady.low[:3]).all()
