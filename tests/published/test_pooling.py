"""Pooling against the published puzzle of two values that share more than either has of its own."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.compare import pool
from tests.published.rows import Row, published

VALUES = [1.0, 1.5]
COVARIANCE = np.array([[0.05, 0.06], [0.06, 0.1125]])
ROWS = {row.quantity: row for row in published("pooling")}


def _free() -> tuple[float, float]:
    """Return mean and u by generalised least squares with free weights, what `pool` keeps from."""
    inverse = np.linalg.inv(COVARIANCE)
    return float(inverse.sum(axis=0) @ VALUES / inverse.sum()), float(inverse.sum() ** -0.5)


@pytest.mark.parametrize("row", published("pooling"), ids=str)
def test_the_puzzle_is_the_published_one(row: Row) -> None:
    (mean, u), spread = _free(), np.sqrt(np.diag(COVARIANCE))
    found = {
        "free_mean": mean,
        "free_u": u,
        "correlation": COVARIANCE[0, 1] / spread.prod(),
        "least_for_puzzle": spread.min() / spread.max(),
    }
    assert row.agrees(found[row.quantity])


def test_a_pooled_mean_stays_with_the_surer_value_instead() -> None:
    pooled = pool(VALUES, COVARIANCE)
    assert (pooled.value, pooled.weights) == (1.0, (1.0, 0.0))
    assert ROWS["free_mean"].value < min(VALUES) <= pooled.value
    # They differ by 0.5 where 0.05 + 0.1125 − 2 × 0.06 = 0.0425 is known of it: χ² 5.88, and u grows by its root.
    assert pooled.u == pytest.approx(np.sqrt(0.05 * 0.25 / 0.0425))


@pytest.mark.parametrize("share", [0.0, 0.5, 0.99, 1.01, 1.4])
def test_a_value_gets_no_weight_just_where_the_published_bound_is_passed(share: float) -> None:
    """Burr et al., Algorithms 4 (2011) 28, equation (10): the bound on the correlation is σ1/σ2."""
    bound = ROWS["least_for_puzzle"].value
    covariance = COVARIANCE.copy()
    covariance[0, 1] = covariance[1, 0] = share * bound * np.sqrt(np.diag(COVARIANCE)).prod()
    assert (min(pool(VALUES, covariance).weights) == 0.0) is (share > 1.0)
