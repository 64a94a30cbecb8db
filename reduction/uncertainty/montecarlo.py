"""Propagation of distributions: the same model evaluated at random inputs, to confirm or correct the GUM interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import floor, isfinite, log10, sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.uncertainty.propagation import COVERAGE, Input, Model, Propagated

FloatArray = NDArray[np.float64]

HALF = np.float32(0.5)
WIDTH = np.float32(2.0 * sqrt(3.0))


@dataclass(frozen=True)
class Trial:
    """What a Monte Carlo run says about one output: mean, standard deviation and the symmetric interval."""

    mean: float
    u: float
    low: float
    high: float


@dataclass(frozen=True)
class Draws:
    """Standard random numbers for the inputs of several runs, each drawn once by its place, shape and dof."""

    count: int
    seed: int = 1
    _drawn: dict[tuple[object, ...], NDArray[np.float32] | FloatArray] = field(default_factory=dict, repr=False)

    def of(self, number: int, item: Input) -> NDArray[np.float32] | FloatArray:
        """Numbers of mean zero for the input at one place; of unit variance but for the t, whose scale is u."""
        key = number, item.shape, item.dof
        if key not in self._drawn:
            self._drawn[key] = _standard(np.random.default_rng((self.seed, number)), item, self.count)
        return self._drawn[key]


def monte_carlo(
    inputs: Sequence[Input],
    model: Model,
    *,
    draws: int = 100_000,
    seed: int = 1,
    correlation: FloatArray | None = None,
    probability: float = COVERAGE,
    shared: Draws | None = None,
) -> tuple[Trial, ...]:
    """Propagate distributions through a model by random draws.

    Rectangular and triangular inputs are drawn as such; a normal one with finite degrees of freedom as a scaled
    and shifted t. Correlated inputs are drawn jointly normal. `shared` numbers serve further runs with like inputs.

    Returns
    -------
    tuple of Trial
        One per output, with the probabilistically symmetric interval.

    References
    ----------
    JCGM 101:2008, 5.9.1 (procedure), 6.4.2 (rectangular), 6.4.5 (triangular), 6.4.8 (joint normal),
    6.4.9 (scaled and shifted t), 7.7 (interval).
    """
    if correlation is None:
        standard = shared or Draws(draws, seed)
        x = np.empty((len(inputs), standard.count))
        for number, (row, item) in enumerate(zip(x, inputs, strict=True)):
            row[:] = item.u * standard.of(number, item) if item.u > 0.0 else 0.0
            row += item.value
    else:
        rng = np.random.default_rng(seed)
        u = np.array([item.u for item in inputs])
        means = np.array([item.value for item in inputs])
        x = rng.multivariate_normal(means, correlation * np.outer(u, u), size=draws, method="eigh").T
    outputs = model(x)
    tail = (1.0 - probability) / 2.0
    limits = np.quantile(outputs, [tail, 1.0 - tail], axis=1)
    return tuple(
        Trial(float(row.mean()), float(row.std(ddof=1)), float(low), float(high))
        for row, low, high in zip(outputs, *limits, strict=True)
    )


def numerical_tolerance(u: float, digits: int = 1) -> float:
    """Half a unit in the last of the digits that u is quoted to.

    References
    ----------
    JCGM 101:2008, 7.9.2.

    Examples
    --------
    >>> numerical_tolerance(22.4), numerical_tolerance(0.00032, digits=2)
    (5.0, 5e-06)
    """
    if u <= 0:
        return 0.0
    return float(0.5 * 10.0 ** (floor(log10(u)) - digits + 1))


def confirms(result: Propagated, trial: Trial, output: int = 0, digits: int = 1) -> bool:
    """Say whether the interval of the linear model agrees with the Monte Carlo one within the numerical tolerance.

    References
    ----------
    JCGM 101:2008, 8.1.3: both end points within δ.
    """
    low, high = result.interval(output)
    tolerance = numerical_tolerance(result.u(output), digits)
    return abs(low - trial.low) <= tolerance and abs(high - trial.high) <= tolerance


def _standard(rng: np.random.Generator, item: Input, draws: int) -> NDArray[np.float32] | FloatArray:
    """Return what `Draws.of` promises; single precision is ample."""
    if item.shape == "rectangular":
        return (rng.random(draws, dtype=np.float32) - HALF) * WIDTH
    if item.shape == "triangular":
        return (rng.random(draws) - rng.random(draws)) * sqrt(6.0)
    if isfinite(item.dof):
        return rng.standard_t(max(item.dof, 1.0), draws)
    return rng.standard_normal(draws, dtype=np.float32)
