"""Many repeats pooled by the errors they share, held against the plain matrix and against a general solver."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Mapping

import numpy as np
import pytest
from scipy.optimize import nnls

from reduction.compare import pool
from reduction.pooling import FEW, SharedErrors, pool_repeats

Case = tuple[list[float], list[float], list[Mapping[str, float]]]


def sessions(count: int, *, alike: float, own_w: float, seed: int, each: int = 4) -> Case:
    """Return repeats of so many sessions: a dozen errors of the bench, three of each session, their own; invented."""
    draws = np.random.default_rng(seed)
    bench = {f"instrument {n}": draws.normal(0.0, 8.0) for n in range(12)}
    shares: list[Mapping[str, float]] = []
    for n in range(count * each):
        common = {key: part * (1.0 + alike * draws.normal()) for key, part in bench.items()}
        shares.append(common | {f"session {n // each}, {m}": draws.normal(0.0, 6.0) for m in range(3)})
    own = own_w * (1.0 + np.abs(draws.normal(size=len(shares))))
    u = [
        float(np.hypot(mine, np.sqrt(sum(part**2 for part in carried.values()))))
        for mine, carried in zip(own, shares, strict=True)
    ]
    return (2300.0 + draws.normal(0.0, 25.0, len(shares))).tolist(), u, shares


def dense(u: list[float], shares: list[Mapping[str, float]]) -> np.ndarray:
    """Return the whole covariance, cell by cell, as JCGM 100:2008, F.1.2.3 has it."""
    whole = [[sum(part * other.get(key, 0.0) for key, part in each.items()) for other in shares] for each in shares]
    covariance = np.array(whole)
    np.fill_diagonal(covariance, np.square(u))
    return covariance


@pytest.mark.parametrize(("alike", "own_w"), [(0.0, 12.0), (0.05, 40.0), (0.1, 2.0), (0.3, 10.0), (1.0, 3.0)])
@pytest.mark.parametrize("seed", [1, 2])
def test_many_repeats_give_the_mean_that_the_whole_matrix_gives(alike, own_w, seed):
    values, u, shares = sessions(30, alike=alike, own_w=own_w, seed=seed)
    assert len(values) > FEW
    found, shared = pool_repeats(values, u, shares)
    wanted = pool(values, dense(u, shares))
    assert found.value == pytest.approx(wanted.value, rel=1e-9)
    assert found.u == pytest.approx(wanted.u, rel=1e-9)
    assert found.birge == pytest.approx(wanted.birge, rel=1e-9)
    assert found.consistent is wanted.consistent
    assert found.weights == pytest.approx(wanted.weights, abs=1e-9)
    carried = sum(weight * each["instrument 3"] for weight, each in zip(wanted.weights, shares, strict=True))
    assert shared["instrument 3"] == pytest.approx(carried, rel=1e-9)


def test_weights_that_may_not_be_negative_are_those_of_a_general_solver():
    """Least variance with w ≥ 0 is a non-negative least-squares problem: scipy's own, Lawson and Hanson's algorithm."""
    values, u, shares = sessions(40, alike=0.5, own_w=6.0, seed=5)
    found, _ = pool_repeats(values, u, shares)
    root = np.linalg.cholesky(dense(u, shares))
    x, _ = nnls(root.T, np.linalg.solve(root, np.ones(len(u))))
    assert min(found.weights) == 0.0
    assert found.weights == pytest.approx(x / x.sum(), abs=1e-8)


def test_few_repeats_are_pooled_by_their_matrix():
    values, u, shares = sessions(3, alike=0.1, own_w=20.0, seed=3)
    found, _ = pool_repeats(values, u, shares)
    assert found == pool(values, SharedErrors.of(u, shares).covariance(u))


def test_an_error_that_all_share_does_not_average_out():
    shares = [{"plug": 30.0}] * 400
    found, shared = pool_repeats([2400.0] * 400, [50.0] * 400, shares)  # 40 W each of its own: 40 / √400 = 2 W
    assert found.u == pytest.approx(np.hypot(30.0, 2.0), rel=1e-9)
    assert shared == {"plug": pytest.approx(30.0)}


def test_repeats_that_share_all_their_errors_weigh_alike():
    found, _ = pool_repeats([2400.0] * 100, [30.0] * 100, [{"plug": 30.0}] * 100)
    assert found.u == pytest.approx(30.0, rel=1e-6)
    assert found.weights == pytest.approx([0.01] * 100, rel=1e-3)


def test_figures_without_an_uncertainty_are_pooled_all_the_same():
    found, _ = pool_repeats([10.0, 11.0] * 50, [0.0] * 100, [{}] * 100)
    assert found.value == pytest.approx(10.5)


def test_a_thousand_sessions_cost_neither_seconds_nor_a_matrix():
    values, u, shares = sessions(1000, alike=0.3, own_w=10.0, seed=9)
    tracemalloc.start()
    begun = time.process_time()
    pool_repeats(values, u, shares)
    spent = time.process_time() - begun
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert spent < 3.0  # a matrix of 4,000 by 4,000 takes minutes; 0.2 s here, traced ten times that
    assert most < 60e6  # the matrix alone would be 128 MB


def test_values_and_uncertainties_that_do_not_belong_together_are_refused():
    with pytest.raises(ValueError, match="2 values with 1 uncertainties and 2 shares"):
        pool_repeats([1.0, 2.0], [0.1], [{}, {}])
