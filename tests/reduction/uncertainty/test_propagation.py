"""The engine beside a second opinion, and its algebra as properties."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from reduction.uncertainty.flatness import half_width
from reduction.uncertainty.propagation import COVERAGE, Input, coverage_factor, propagate, shared_covariance

small = st.floats(1e-6, 0.05)
value = st.floats(0.5, 50.0)


def cop(x: np.ndarray) -> np.ndarray:
    heat, ua, delta, power = x
    return ((heat + ua * delta) / power)[None, :]


@given(st.tuples(value, value, value, value), st.tuples(small, small, small, small))
def test_an_efficiency_agrees_with_the_uncertainties_package(
    values: tuple[float, ...], relative: tuple[float, ...]
) -> None:
    u = [v * r for v, r in zip(values, relative, strict=True)]
    found = propagate([Input("", v, each) for v, each in zip(values, u, strict=True)], cop)
    heat, ua, delta, power = (ufloat(v, each) for v, each in zip(values, u, strict=True))
    expected = (heat + ua * delta) / power
    assert found.values[0] == pytest.approx(expected.n)
    assert found.u() == pytest.approx(expected.s, rel=0.005, abs=1e-9)  # a difference of finite step, not a derivative


@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=8), st.data())
def test_a_bigger_u_of_an_independent_input_never_gives_a_smaller_u(us: list[float], data: st.DataObject) -> None:
    grown = data.draw(st.integers(0, len(us) - 1))
    bigger = [u * 1.5 + 1.0 if i == grown else u for i, u in enumerate(us)]
    before, after = (
        propagate([Input("", 1.0, u) for u in each], lambda x: x.sum(axis=0)[None, :]) for each in (us, bigger)
    )
    assert after.u() >= before.u()


def test_the_budget_adds_up_to_the_variance() -> None:
    r = np.array([[1.0, 0.6], [0.6, 1.0]])
    found = propagate([Input("a", 3.0, 0.3), Input("b", 2.0, 0.1)], lambda x: (x[0] * x[1])[None, :], r)
    budget = found.budget()
    squares = sum(line.contribution_w**2 for line in budget)
    twice = 2 * 0.6 * budget[0].contribution_w * budget[1].contribution_w
    assert squares + twice == pytest.approx(found.u() ** 2)
    assert sum(line.share for line in budget) == pytest.approx(1.0)


def test_lines_that_contribute_nothing_are_left_out_of_the_budget() -> None:
    found = propagate([Input("used", 1.0, 0.1), Input("idle", 1.0, 0.1)], lambda x: x[:1])
    assert [line.name for line in found.budget()] == ["used"]


def test_expanded_uncertainty_doubles_u_where_all_is_known_and_grows_with_few_degrees_of_freedom() -> None:
    known = propagate([Input("a", 1.0, 0.1)], lambda x: x)
    guessed = propagate([Input("a", 1.0, 0.1, dof=4.0)], lambda x: x)
    assert known.expanded() == pytest.approx(0.2, rel=1e-4)
    assert guessed.k() == pytest.approx(coverage_factor(4.0))
    assert guessed.k() > 1.2 * known.k()
    assert coverage_factor(inf, COVERAGE) == pytest.approx(2.0, abs=1e-4)


def test_a_limit_that_leads_the_budget_is_never_left_but_its_whole_width_is_not_claimed() -> None:
    limit = propagate(
        [Input("gain", 1.0, 0.1, shape="rectangular"), Input("rest", 0.0, 0.02)], lambda x: x.sum(axis=0)[None, :]
    )
    normal = propagate([Input("gain", 1.0, 0.1), Input("rest", 0.0, 0.02)], lambda x: x.sum(axis=0)[None, :])
    assert limit.u() == normal.u()
    assert limit.expanded() == normal.expanded()
    assert 1.653 < limit.interval_k() < 1.75
    assert normal.interval_k() == normal.k()


@given(st.lists(st.floats(0.1, 10.0), min_size=1, max_size=6), st.floats(0.0, 10.0))
def test_limits_and_normal_errors_together_are_held_as_often_as_random_draws_say(
    limits: list[float], rest: float
) -> None:
    rng = np.random.default_rng(0)
    parts = np.array([*limits, rest])
    width = half_width(parts, [*["rectangular"] * len(limits), "normal"], 0.9545) * np.sqrt(parts @ parts)
    drawn = np.sqrt(3.0) * parts[:-1] @ rng.uniform(-1.0, 1.0, (len(limits), 40_000)) + rest * rng.standard_normal(
        40_000
    )
    assert np.mean(np.abs(drawn) <= width) == pytest.approx(0.9545, abs=0.006)


def test_correlated_inputs_keep_the_factor_of_a_joint_normal_error() -> None:
    inputs = [Input("a", 1.0, 0.1, shape="rectangular"), Input("b", 1.0, 0.1, shape="rectangular")]
    found = propagate(inputs, lambda x: x.sum(axis=0)[None, :], np.array([[1.0, 0.5], [0.5, 1.0]]))
    assert found.interval_k() == pytest.approx(2.0, abs=1e-4)


def test_a_difference_of_two_points_is_known_better_than_either_by_what_they_share() -> None:
    def point(own: float) -> object:
        inputs = [
            Input("meter", 1.0, 0.01, shared_key="instrument:plug:gain"),
            Input("UA", 30.0, 3.0, shared_key="room:r:ua"),
            Input("repeatability", 0.0, own),
        ]
        return propagate(inputs, lambda x: (2000.0 * x[0] + 4.0 * x[1] + x[2])[None, :])

    first, second = point(5.0), point(8.0)
    covariance = shared_covariance([first, second])  # type: ignore[list-item]
    difference_u = float(np.sqrt(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1]))
    assert covariance[0, 1] == pytest.approx(20.0**2 + 12.0**2)
    assert difference_u == pytest.approx(np.hypot(5.0, 8.0))
