"""Uncertainty by the GUM: inputs, a vectorised measurement model, covariance, effective degrees of freedom.

The engine knows nothing of rooms. A model takes an array of inputs, one row each, one column per evaluation,
and returns an array of outputs the same way, so that sensitivities and Monte Carlo are one call each.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, inf, isfinite
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from reduction.session import Component
from reduction.uncertainty.flatness import Shape, half_width

FloatArray = NDArray[np.float64]
Model = Callable[[FloatArray], FloatArray]

COVERAGE = 0.9545
"""Of every U here: k = 2 for a normal error at infinite degrees of freedom (JCGM 100:2008, table G.2, 95.45 %)."""

SMALL_STEP = 1e-6
"""Relative step of the difference quotient of an input without uncertainty."""


@dataclass(frozen=True)
class Input:
    """One input quantity: its estimate, its standard uncertainty and what is known about both.

    Equal `shared_key` in two budgets means the same error in both. `shape` is the distribution Monte Carlo
    draws from; a finite `dof` makes a normal one a scaled and shifted t.
    """

    name: str
    value: float
    u: float
    quantity_unit: str = ""
    dof: float = inf
    shared_key: str | None = None
    evaluation: Literal["A", "B"] = "B"
    source: str = ""
    shape: Shape = "normal"


@dataclass(frozen=True)
class Propagated:
    """Outputs of a model with their covariance.

    `values` shape (m,), `covariance` (m, m), `sensitivities` and `contributions` (sensitivity × u) (m, k),
    `correlation` of the inputs (k, k).
    """

    inputs: tuple[Input, ...]
    values: FloatArray
    sensitivities: FloatArray
    contributions: FloatArray
    correlation: FloatArray
    covariance: FloatArray

    def u(self, output: int = 0) -> float:
        """Return the combined standard uncertainty of an output."""
        return float(np.sqrt(self.covariance[output, output]))

    def dof(self, output: int = 0) -> float:
        """Return the effective degrees of freedom of an output."""
        return effective_dof(self.contributions[output], [i.dof for i in self.inputs], self.u(output))

    def k(self, output: int = 0, probability: float = COVERAGE) -> float:
        """Return the coverage factor of an output by its degrees of freedom alone."""
        return coverage_factor(self.dof(output), probability)

    def expanded(self, output: int = 0, probability: float = COVERAGE) -> float:
        """Return U = k·u of an output, from which a reader takes u back by halving."""
        return self.k(output, probability) * self.u(output)

    def interval_k(self, output: int = 0, probability: float = COVERAGE) -> float:
        """Return the factor of the interval that holds an output: Student's, cut by what limits among its inputs end.

        References
        ----------
        JCGM 100:2008, G.4.1; JCGM 101:2008, 5.3.2: the distribution of the output where inputs are rectangular.
        Correlated inputs count as jointly normal (JCGM 101:2008, 6.4.8).
        """
        factor = self.k(output, probability)
        if not np.array_equal(self.correlation, np.eye(len(self.inputs))):
            return factor
        width = half_width(self.contributions[output], [item.shape for item in self.inputs], probability)
        return factor * width / float(ndtri(0.5 + probability / 2.0))

    def interval(self, output: int = 0, probability: float = COVERAGE) -> tuple[float, float]:
        """Return the ends of the interval that holds an output with the probability, symmetric about its value."""
        half = self.interval_k(output, probability) * self.u(output)
        return float(self.values[output]) - half, float(self.values[output]) + half

    def budget(self, output: int = 0, scale: float = 1.0) -> tuple[Component, ...]:
        """Return one line per input that matters, the largest first; the shares sum to one.

        With `scale` of so many times the output: sensitivities and contributions are multiplied by it.
        """
        parts = self.contributions[output]
        variance = self.covariance[output, output]
        shares = parts * (self.correlation @ parts) / variance if variance > 0 else np.zeros_like(parts)
        lines = [
            Component(
                name=item.name,
                value=item.value,
                quantity_unit=item.quantity_unit,
                u=item.u,
                sensitivity=scale * float(self.sensitivities[output, i]),
                contribution_w=scale * float(parts[i]),
                share=float(shares[i]),
                dof=item.dof if isfinite(item.dof) else None,
                source=item.source,
                shared_key=item.shared_key,
                evaluation=item.evaluation,
            )
            for i, item in enumerate(self.inputs)
            if parts[i] != 0.0
        ]
        return tuple(sorted(lines, key=lambda line: -abs(line.contribution_w)))


def propagate(inputs: Sequence[Input], model: Model, correlation: FloatArray | None = None) -> Propagated:
    """Propagate the inputs' uncertainty through a model to first order.

    The step of each central difference is the input's own u, so that a contribution is half the change of the
    output between x + u and x − u and a mild curvature is averaged, not sampled at a point.

    Parameters
    ----------
    inputs
        The k input quantities.
    model
        Maps an array (k, n) to an array (m, n).
    correlation
        Of the inputs, shape (k, k); none means independent.

    Returns
    -------
    Propagated
        Values, sensitivities, contributions and covariance of the m outputs.

    References
    ----------
    JCGM 100:2008, 5.1.2, 5.1.3 note 2, 5.2.2 equation (13) and, for several outputs, H.2.3 equation (H.9).

    Examples
    --------
    >>> result = propagate([Input("length", 3.0, 0.3), Input("width", 2.0, 0.1)], lambda x: x[:1] * x[1:])
    >>> result.values.tolist(), round(result.u(), 3)
    ([6.0], 0.671)
    """
    estimates = np.array([item.value for item in inputs], dtype=np.float64)
    u = np.array([item.u for item in inputs], dtype=np.float64)
    step = np.where(u > 0, u, SMALL_STEP * np.maximum(np.abs(estimates), 1.0))
    moves = np.diag(step)
    base = estimates[:, None]
    outputs = model(np.hstack([base, base + moves, base - moves]))
    k = len(inputs)
    sensitivities = (outputs[:, 1 : k + 1] - outputs[:, k + 1 :]) / (2.0 * step)
    contributions = sensitivities * u
    r = np.eye(k) if correlation is None else correlation
    covariance = contributions @ r @ contributions.T
    return Propagated(tuple(inputs), outputs[:, 0], sensitivities, contributions, r, covariance)


def effective_dof(contributions: FloatArray, dof: Sequence[float], u: float) -> float:
    """Effective degrees of freedom by the Welch–Satterthwaite formula.

    Parameters
    ----------
    contributions
        Sensitivity × u of each input, shape (k,).
    dof
        Degrees of freedom of each input, infinite where u is taken as known.
    u
        Combined standard uncertainty, in the unit of the contributions.

    References
    ----------
    JCGM 100:2008, G.4.1, equation (G.2b).

    Examples
    --------
    >>> round(effective_dof(np.array([25.0, 9.7, 2.9, 16.6]), [18, 25.6, 50, 2], 31.67), 1)
    16.8
    """
    weights = np.asarray(contributions, dtype=np.float64) ** 4 / np.asarray(dof, dtype=np.float64)
    total = float(weights.sum())
    return float(u**4 / total) if total > 0 else inf


def coverage_factor(dof: float, probability: float = COVERAGE) -> float:
    """Coverage factor from Student's t at the degrees of freedom cut to a whole number.

    References
    ----------
    JCGM 100:2008, G.3.2 and G.6.4; table G.2.

    Examples
    --------
    >>> round(coverage_factor(16.7, 0.99), 2), round(coverage_factor(inf), 3)
    (2.92, 2.0)
    """
    whole = max(1, floor(dof * (1.0 + 1e-9))) if isfinite(dof) else 1e12  # 4 stays 4 after a rounding error
    return float(stdtrit(whole, 0.5 + probability / 2.0))


def shared_covariance(points: Sequence[Propagated], output: int = 0) -> FloatArray:
    """Covariance of one output between several points, from the inputs whose errors they share.

    Returns
    -------
    numpy.ndarray
        Shape (points, points); the diagonal is each point's own variance.

    References
    ----------
    JCGM 100:2008, F.1.2.3, equation (F.2): inputs common to two results correlate them.
    """
    n = len(points)
    covariance = np.zeros((n, n))
    keyed = [
        {item.shared_key: p.contributions[output, i] for i, item in enumerate(p.inputs) if item.shared_key is not None}
        for p in points
    ]
    for a in range(n):
        covariance[a, a] = points[a].covariance[output, output]
        for b in range(a + 1, n):
            common = keyed[a].keys() & keyed[b].keys()
            covariance[a, b] = covariance[b, a] = sum(keyed[a][key] * keyed[b][key] for key in sorted(common))
    return covariance
