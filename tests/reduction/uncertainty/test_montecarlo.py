"""Random draws: their distributions, and when they overrule the linear interval."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reduction.uncertainty.montecarlo import confirms, monte_carlo, numerical_tolerance
from reduction.uncertainty.propagation import Input, propagate


def only(x: np.ndarray) -> np.ndarray:
    return x[:1]


@pytest.mark.parametrize(
    ("item", "low"),
    [
        (Input("", 0.0, 1.0), stats.norm.ppf(0.02275)),
        (Input("", 0.0, 1.0, shape="rectangular"), -np.sqrt(3.0) * 0.9545),
        (Input("", 0.0, 1.0, shape="triangular"), np.sqrt(6.0) * (np.sqrt(2 * 0.02275) - 1.0)),
        (Input("", 0.0, 1.0, dof=5.0), stats.t.ppf(0.02275, 5)),
    ],
    ids=["normal", "rectangular", "triangular", "t with five degrees of freedom"],
)
def test_inputs_are_drawn_from_the_distribution_they_stand_for(item: Input, low: float) -> None:
    (trial,) = monte_carlo([item], only, draws=400_000)
    assert trial.low == pytest.approx(low, abs=0.02)
    assert trial.high == pytest.approx(-low, abs=0.02)


def test_correlated_inputs_are_drawn_together() -> None:
    r = np.array([[1.0, -1.0], [-1.0, 1.0]])
    pair = [Input("", 1.0, 0.5), Input("", 2.0, 0.5)]
    (trial,) = monte_carlo(pair, lambda x: x.sum(axis=0)[None, :], draws=1000, correlation=r)
    assert trial.mean == pytest.approx(3.0)
    assert trial.u == pytest.approx(0.0, abs=1e-6)


def test_a_linear_model_is_confirmed_and_a_curved_one_is_not() -> None:
    straight = [Input("a", 2000.0, 20.0), Input("b", 100.0, 10.0)]
    curved = [Input("a", 0.0, 20.0), Input("b", 1.0, 0.1)]

    def total(x: np.ndarray) -> np.ndarray:
        return x.sum(axis=0)[None, :]

    def square(x: np.ndarray) -> np.ndarray:
        return (x[0] ** 2 + x[1])[None, :]

    assert confirms(propagate(straight, total), monte_carlo(straight, total)[0])
    assert not confirms(propagate(curved, square), monte_carlo(curved, square)[0])


def test_the_tolerance_is_half_a_unit_in_the_last_digit_quoted() -> None:
    assert numerical_tolerance(22.4) == 5.0
    assert numerical_tolerance(22.4, digits=2) == 0.5
    assert numerical_tolerance(0.0) == 0.0


def test_the_same_seed_gives_the_same_interval() -> None:
    runs = [monte_carlo([Input("", 0.0, 1.0)], only, draws=1000, seed=seed)[0] for seed in (7, 7, 8)]
    assert runs[0] == runs[1]
    assert runs[0].low != runs[2].low
