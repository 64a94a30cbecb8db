"""Many repeats pooled at the cost of few: the same mean as `compare.pool`, by the errors they share, not by a matrix.

The covariance of n repeats is a diagonal, what each has of its own, and S Sᵀ, where a row of S holds what a repeat
carries of each shared error. Most of S is nothing: a session's own errors touch its points alone. The equations

    [ D    S ] [ x ]   [ b ]
    [ Sᵀ  −1 ] [ z ] = [ 0 ]

have the x of (D + S Sᵀ) x = b, are as sparse as S, and take no memory of n × n.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_array, coo_array, csr_array, dia_array
from scipy.sparse.linalg import splu
from scipy.special import chdtri

from reduction.compare import FloatArray, Pooled, pool

FEW = 64  # up to so many repeats a matrix is the faster way
LEAST_OWN = (
    1e-9  # of a repeat's variance is taken for its own where shared errors account for all: no matrix is singular
)
ROUNDING = 1e-10  # of the largest weight: less is what floating point leaves
PATIENCE = 3  # rounds of exchange that may get no nearer, before one repeat at a time is exchanged


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
        """Return x of covariance · x = wanted, shape (n,); among the repeats inside, nothing for the others."""
        chosen = np.ones(len(self.own), dtype=np.bool_) if inside is None else inside
        parts = self.parts[np.flatnonzero(chosen)]
        n, keys = parts.shape
        diagonal = dia_array((self.own[chosen][None], [0]), shape=(n, n))
        one = dia_array((np.full((1, keys), -1.0), [0]), shape=(keys, keys))
        whole = block_array([[diagonal, parts], [parts.T, one]], format="csc")
        factored = splu(whole, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        x = np.zeros(len(self.own))
        x[chosen] = factored.solve(np.concatenate([wanted[chosen], np.zeros(keys)]))[:n]
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
    weights = free if free.min() >= 0.0 else _averaging(errors, solved)
    mean = float(weights @ y)
    u = sqrt(max(0.0, float(weights @ errors.times(weights))))
    apart = y - free @ y
    chi2 = float(apart @ errors.solved(apart))
    dof = len(y) - 1
    birge = sqrt(max(0.0, chi2) / dof)
    consistent = chi2 <= float(chdtri(dof, 0.05))
    return Pooled(mean, u if consistent else u * birge, birge, consistent, tuple(weights.tolist()))


def _averaging(errors: SharedErrors, x: FloatArray) -> FloatArray:
    """Return weights of least variance that are not negative and sum to one, shape (n,), from those that may be.

    All repeats that stand wrongly are exchanged at once: out where the weight is negative, in where weight would lower
    the variance. Where this gets no nearer, only the last of them is, which ends.

    References
    ----------
    J. J. Júdice and F. M. Pires, Comput. Oper. Res. 21 (1994) 587; K. G. Murty, Linear Algebra Appl. 7 (1974) 65 (both
    from memory).
    """
    inside, fewest, patience = np.ones(len(x), dtype=np.bool_), len(x) + 1, PATIENCE
    while True:
        slope = errors.times(x) - 1.0
        wrong = np.where(inside, x < -ROUNDING * np.abs(x).max(), slope < -ROUNDING)
        count = int(wrong.sum())
        if not count:
            kept: FloatArray = np.maximum(x, 0.0) / np.maximum(x, 0.0).sum()
            return kept
        patience = PATIENCE if count < fewest else patience - 1
        fewest = min(fewest, count)
        if patience < 0:
            wrong[: np.flatnonzero(wrong)[-1]] = False
        inside ^= wrong
        x = errors.solved(np.ones_like(x), inside)
