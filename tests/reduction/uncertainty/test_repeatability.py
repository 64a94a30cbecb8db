"""Means and slopes of series that remember each other."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.uncertainty.repeatability import autocorrelation, effective_size, effective_size_ar1, mean_of, slope_of


def ar1(n: int, r: float, seed: int) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal(n)
    series = np.empty(n)
    series[0] = noise[0] / np.sqrt(1 - r**2)
    for i in range(1, n):
        series[i] = r * series[i - 1] + noise[i]
    return series


def test_autocorrelation_starts_at_one_and_finds_the_lag_of_a_decaying_process() -> None:
    rho = autocorrelation(ar1(100_000, 0.8, 3))
    assert rho[0] == pytest.approx(1.0)
    assert rho[1:4] == pytest.approx([0.8, 0.64, 0.512], abs=0.02)


def test_a_constant_series_counts_in_full() -> None:
    assert effective_size(np.full(50, 22.0)) == 50.0


def test_the_effective_size_of_a_remembering_series_is_near_the_exact_one() -> None:
    found = np.median([effective_size(ar1(2000, 0.9, seed)) for seed in range(40)])
    assert found == pytest.approx(effective_size_ar1(2000, 0.9), rel=0.25)


def test_the_mean_of_remembering_samples_is_as_uncertain_as_it_scatters() -> None:
    means = [mean_of(ar1(1000, 0.9, seed)) for seed in range(300)]
    scatter = np.std([mean.value for mean in means])
    assert np.mean([mean.u for mean in means]) == pytest.approx(scatter, rel=0.2)
    assert np.mean([mean.u for mean in means]) > 3 * np.std(ar1(1000, 0.9, 1)) / np.sqrt(1000)


def test_the_slope_is_that_of_least_squares_and_its_u_covers_its_scatter() -> None:
    t = np.arange(0.0, 3600.0, 10.0)
    found = [slope_of(t, 22.0 + 1e-4 * t + 0.1 * ar1(len(t), 0.7, seed)) for seed in range(200)]
    slopes = np.array([slope for slope, _, _ in found])
    assert slopes.mean() == pytest.approx(1e-4, abs=4 * slopes.std() / np.sqrt(200))
    assert np.mean([u for _, u, _ in found]) == pytest.approx(slopes.std(), rel=0.3)
    assert found[0][0] == pytest.approx(np.polyfit(t, 22.0 + 1e-4 * t + 0.1 * ar1(len(t), 0.7, 0), 1)[0])
