"""Steady windows against a published statistic of steadiness, which the program does not use.

The R statistic weighs change against noise, so a quiet room that drifts by a watt's worth fails it; the limits of the
program are in kelvin an hour, for what they cost. Where both can judge they must agree.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from reduction.align.series import mean_over
from reduction.windows.steady import steady_windows
from tests.published.rows import Row, published
from tests.reduction.signals import NOON_S
from tests.reduction.windows.test_steady import HOURS, a_run

FILTERS = (0.2, 0.1, 0.1)
SETTLED = 50  # samples that the filters need to forget their start
STEADY_BELOW = 2.0  # as its authors advise (from memory)
CYCLE_S = 600.0


def r_statistic(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Variance about a filtered mean over that between neighbours, both filtered."""
    first, second, third = FILTERS
    mean = lfilter([first], [1.0, first - 1.0], x - x[0]) + x[0]
    about_mean = lfilter([second], [1.0, second - 1.0], (x[1:] - mean[:-1]) ** 2)
    between = lfilter([third], [1.0, third - 1.0], np.diff(x) ** 2)
    return (2.0 - first) * about_mean / between


@pytest.mark.parametrize("row", published("steady_state"), ids=str)
def test_the_statistic_on_white_noise_is_what_is_published(row: Row) -> None:
    r = r_statistic(np.random.default_rng(1).normal(size=200_000))[SETTLED:]
    assert row.agrees({"mean": r.mean(), "quantile99": np.quantile(r, 0.99)}[row.quantity])


@pytest.mark.parametrize(("drift_k_per_h", "is_steady"), [(0.0, True), (2.0, False)])
def test_a_window_is_proposed_where_the_statistic_of_whole_heater_cycles_is_low_too(
    drift_k_per_h: float, is_steady: bool
) -> None:
    timeline = a_run(drift_k_per_h=drift_k_per_h)
    starts = NOON_S + CYCLE_S * np.arange(HOURS * 3600.0 / CYCLE_S)
    cycles = np.array([mean_over(timeline.series["room"], start, start + CYCLE_S).value for start in starts])
    assert (np.median(r_statistic(cycles)[10:]) < STEADY_BELOW) is np.bool_(is_steady)
    assert bool(steady_windows(timeline)) is is_steady
