"""Many repeats pooled at the cost of few: the same mean as `compare.pool`, by the errors they share, not by a matrix.

The covariance of n repeats is a diagonal D, what each has of its own, and S Sᵀ, where a row of S holds what a repeat
carries of each shared error. Most of S is nothing: a session's own errors touch its points alone. Its inverse is
D⁻¹ − D⁻¹ S (1 + Sᵀ D⁻¹ S)⁻¹ Sᵀ D⁻¹ (Woodbury), which takes no memory of n × n.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, eye_array
from scipy.sparse.linalg import splu
from scipy.special import chdtri

from reduction.compare import ROUNDING, FloatArray, Pooled, pool

FEW = 64  # up to so many repeats a matrix is the faster way
LEAST_OWN = 1e-9  # of a repeat's variance is its own even where shared errors account for all: no matrix is singular
MOST_STEPS, HALVINGS = 200, 50  # of Newton's steps, which are some tens; of the search along each
SOFTENED = (0.3, 0.03, 0.003, 0.0)  # shares of a repeat's variance that its own is first raised by


@dataclass(frozen=True, eq=False)
class SharedErrors:
    """Errors of n repeats: own variance, shape (n,); parts of each shared error by `keys`, shape (n, keys), sparse."""

    own: FloatArray
    parts: csr_array
    keys: tuple[str, ...]

    @classmethod
    def of(cls, u: Sequence[float], shares: Sequence[Mapping[str, float]]) -> SharedErrors:
        """Take the errors apart: each repeat's u, and of it what it carries of shared errors, by their keys."""
        column = {key: n for n, key in enumerate(dict.fromkeys(key for each in shares for key in each))}
        rows = np.repeat(np.arange(len(shares)), [len(each) for each in shares])
        columns = np.fromiter((column[key] for each in shares for key in each), dtype=np.intp, count=len(rows))
        values = np.fromiter((part for each in shares for part in each.values()), dtype=np.float64, count=len(rows))
        parts = csr_array(coo_array((values, (rows, columns)), shape=(len(shares), len(column))))
        variance = np.square(np.asarray(u, dtype=np.float64))
        own = variance - np.asarray(parts.power(2).sum(axis=1)).ravel()
        least = LEAST_OWN * np.where(variance > 0.0, variance, variance.max(initial=0.0) or 1.0)
        return cls(np.maximum(own, least), parts, tuple(column))

    def covariance(self, u: Sequence[float]) -> FloatArray:
        """Return the whole matrix, shape (n, n); its diagonal is u²."""
        whole: FloatArray = (self.parts @ self.parts.T).toarray()
        np.fill_diagonal(whole, np.square(np.asarray(u, dtype=np.float64)))
        return whole

    def times(self, x: FloatArray) -> FloatArray:
        """Return the covariance times x."""
        product: FloatArray = self.own * x + self.parts @ (self.parts.T @ x)
        return product

    def solved(self, wanted: FloatArray, inside: NDArray[np.bool_] | None = None) -> FloatArray:
        """Return x of covariance · x = wanted, shape (n,); among the repeats inside, nothing for the others.

        Refined once by what is left, for a repeat's own may be a small part of its u.
        """
        chosen = np.ones(len(self.own), dtype=np.bool_) if inside is None else inside
        parts, own = self.parts[np.flatnonzero(chosen)], self.own[chosen]
        x, (n, keys) = np.zeros(len(self.own)), parts.shape
        if n <= FEW:
            x[chosen] = np.linalg.solve((parts @ parts.T).toarray() + np.diag(own), wanted[chosen])
            return x
        scaled = parts.multiply(1.0 / own[:, None]).tocsr()
        inner = (parts.T @ scaled + eye_array(keys)).tocsc()
        factored = splu(inner, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})

        def once(b: FloatArray) -> FloatArray:
            found: FloatArray = b / own - scaled @ factored.solve(scaled.T @ b)
            return found

        first = once(wanted[chosen])
        x[chosen] = first + once(wanted[chosen] - own * first - parts @ (parts.T @ first))
        return x


def pool_repeats(
    values: Sequence[float], u: Sequence[float], shares: Sequence[Mapping[str, float]]
) -> tuple[Pooled, dict[str, float]]:
    """Return the mean of repeats as `compare.pool` does, and what it carries of each shared error.

    Parameters
    ----------
    values, u
        Repeats of one unit at like conditions with their standard uncertainties, shape (n,).
    shares
        What each repeat's u carries of errors that others may carry too, by the key of the error.

    Raises
    ------
    ValueError
        If nothing is given or the lengths differ.

    References
    ----------
    JCGM 100:2008, F.1.2.3, for shared errors; see `compare.pool` for the mean.

    Examples
    --------
    >>> pooled, shared = pool_repeats([100.0, 104.0], [2.5, 2.5], [{"plug": 1.5}, {"plug": 1.5}])
    >>> pooled.value, round(pooled.u, 3), shared  # √(1.5² + (2² + 2²) / 4)
    (102.0, 2.062, {'plug': 1.5})
    """
    if not len(values) == len(u) == len(shares):
        raise ValueError(f"{len(values)} values with {len(u)} uncertainties and {len(shares)} shares")
    errors = SharedErrors.of(u, shares)
    pooled = pool(values, errors.covariance(u)) if len(values) <= FEW else _pool(np.asarray(values, float), errors)
    carried = errors.parts.T @ np.asarray(pooled.weights)
    return pooled, dict(zip(errors.keys, carried.tolist(), strict=True))


def _pool(y: FloatArray, errors: SharedErrors) -> Pooled:
    solved = errors.solved(np.ones_like(y))
    free = solved / solved.sum()
    weights = free if free.min() >= 0.0 else _averaging(errors)
    mean = float(weights @ y)
    u = sqrt(max(0.0, float(weights @ errors.times(weights))))
    apart = y - free @ y
    chi2 = float(apart @ errors.solved(apart))
    dof = len(y) - 1
    birge = sqrt(max(0.0, chi2) / dof)
    consistent = chi2 <= float(chdtri(dof, 0.05))
    return Pooled(mean, u if consistent else u * birge, birge, consistent, tuple(weights.tolist()))


def _averaging(errors: SharedErrors) -> FloatArray:
    """Return weights of least variance that are not negative and sum to one, shape (n,).

    With z for what the mean carries of each shared error, a repeat's weight goes as what 1 − s·z leaves above nothing,
    over its own variance, and z is where ½|z|² + ½ Σ max(0, 1 − s·z)² / own is least. That is convex and made of
    parabolas, so that Newton's steps, each as far as it goes down, end at the very place. Where repeats have little of
    their own they are many; so the repeats are first given more, and less by and by.

    References
    ----------
    O. L. Mangasarian, A finite Newton method for classification, Optim. Methods Softw. 17 (2002) 913 (from memory).
    """
    z = np.zeros(errors.parts.shape[1])
    spread = errors.own + np.asarray(errors.parts.power(2).sum(axis=1)).ravel()
    for softened in SOFTENED:
        x, z = _stepped(replace(errors, own=errors.own + softened * spread), z)
    kept: FloatArray = np.maximum(x, 0.0) / np.maximum(x, 0.0).sum()
    return kept


def _stepped(errors: SharedErrors, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return x and z where Newton's steps from z end."""
    one = np.ones(len(errors.own))
    for _ in range(MOST_STEPS):
        left = one - errors.parts @ z
        x = errors.solved(one, left > 0.0)
        step = errors.parts.T @ x - z
        slope = errors.parts @ step
        if np.all((left - slope > -ROUNDING) == (left > -ROUNDING)):
            break
        z = z + _furthest(errors.own, z, step, left, slope) * step
    return x, z


def _furthest(own: FloatArray, z: FloatArray, step: FloatArray, left: FloatArray, slope: FloatArray) -> float:
    """Return how much of a step goes down: where the derivative along it, which only grows, is nothing."""
    straight, curved = float(z @ step), float(step @ step)
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        t = (low + high) / 2.0
        rises = straight + t * curved - float((np.maximum(left - t * slope, 0.0) / own) @ slope) > 0.0
        low, high = (low, t) if rises else (t, high)
    return high if high == 1.0 else low
