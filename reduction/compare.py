"""Points beside points: what is comparable, pooled repeats, differences with shared errors, groups, control chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtr

from reduction.ground.tables import table
from reduction.session import Measured, Point

FloatArray = NDArray[np.float64]

SURE = 0.95  # P(A > B) from which A stands before B: the usual 95 %
CONTROL_SIGMAS = 3.0  # of the earlier runs' spread: the usual limits of a control chart, common practice, no source
ROUNDING = 1e-10  # of a weight or a variance: less is what floating point leaves
LEAST_RUNS = 3  # before which a control chart has no spread to judge by


@dataclass(frozen=True)
class Pooled:
    """Repeats as one value. `birge` is √(χ²/(n − 1)); above 1 beyond chance the repeats differ by more than they know.

    `u` is widened by the Birge ratio where `consistent` is False.
    """

    value: float
    u: float
    birge: float
    consistent: bool
    weights: tuple[float, ...]


@dataclass(frozen=True)
class Comparability:
    """Whether two conditions may be compared as they are, and what stands between them."""

    comparable: bool
    because: str


@dataclass(frozen=True, eq=False)
class Control:
    """A reference unit over time: centre and limits from the runs before each; `outside` marks alarms; shape (n,)."""

    centre: FloatArray
    low: FloatArray
    high: FloatArray
    outside: NDArray[np.bool_]


def pool(values: Sequence[float], covariance: FloatArray) -> Pooled:
    """Return the mean of repeats that varies least with none weighed below nothing, checked by the Birge ratio.

    Where an error that repeats share outweighs what each has of its own, plain generalised least squares weighs the
    worse ones negatively and its mean lies outside all of them (Peelle's puzzle). An average does not: it stays within
    its repeats, and its u no smaller than what they share. Without such an error both are the same. The Birge ratio
    asks only how far the repeats lie apart for what each has of its own, wherever their mean is.

    Parameters
    ----------
    values
        Repeats of one unit at like conditions, shape (n,).
    covariance
        With errors of shared instruments off the diagonal, shape (n, n).

    Raises
    ------
    ValueError
        If nothing is given or the shapes do not fit.

    References
    ----------
    Weighted mean: any text on least squares, here with w ≥ 0. The puzzle, and when it comes of two values, r > σ1/σ2:
    T. Burr et al., Algorithms 4 (2011) 28, equation (10). R. T. Birge, Phys. Rev. 40 (1932) 207 for the ratio (from
    memory).

    Examples
    --------
    >>> pooled = pool([100.0, 104.0], np.diag([4.0, 4.0]))
    >>> pooled.value, round(pooled.u, 3), round(pooled.birge, 3)
    (102.0, 1.414, 1.414)
    >>> pool([1.5, 1.0], np.array([[0.1125, 0.06], [0.06, 0.05]])).value  # 0.88 by generalised least squares
    1.0
    """
    y = np.asarray(values, dtype=np.float64)
    if len(y) == 0 or covariance.shape != (len(y), len(y)):
        raise ValueError(f"{len(y)} values with a covariance of shape {covariance.shape}")
    solved = np.linalg.lstsq(covariance, np.ones_like(y), rcond=None)[0]
    free = solved / solved.sum()
    weights = free if free.min() >= 0.0 else _averaging(covariance)
    mean = float(weights @ y)
    u = sqrt(max(0.0, float(weights @ covariance @ weights)))
    if len(y) == 1:
        return Pooled(mean, u, 0.0, True, (1.0,))
    apart = y - free @ y
    chi2 = float(apart @ np.linalg.lstsq(covariance, apart, rcond=None)[0])
    dof = len(y) - 1
    birge = sqrt(max(0.0, chi2) / dof)
    consistent = chi2 <= float(chdtri(dof, 0.05))
    return Pooled(mean, u if consistent else u * birge, birge, consistent, tuple(float(w) for w in weights))


def _averaging(covariance: FloatArray) -> FloatArray:
    """Return weights of least variance that are not negative and sum to one, shape (n,).

    Active set, from the surest repeat on: take in the one that lowers the variance most, solve among those taken in,
    and go back to the edge where that would be crossed.

    References
    ----------
    C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, ch. 23 (from memory).
    """
    weights = np.zeros(len(covariance))
    weights[np.argmin(np.diag(covariance))] = 1.0
    for _ in range(3 * len(weights)):
        slope = covariance @ weights
        best = int(np.argmin(slope))
        if slope[best] >= (1.0 - ROUNDING) * float(weights @ slope):
            break
        inside = weights > 0.0
        inside[best] = True
        while True:
            wanted = np.zeros_like(weights)
            solved = np.linalg.lstsq(covariance[np.ix_(inside, inside)], np.ones(inside.sum()), rcond=None)[0]
            wanted[inside] = solved / solved.sum()
            crossing = inside & (wanted <= 0.0)
            if not crossing.any():
                break
            step = np.min(weights[crossing] / (weights[crossing] - wanted[crossing]))
            weights = np.where(inside, weights + step * (wanted - weights), 0.0)
            inside &= weights > ROUNDING
        weights = wanted
    return weights


def covariance_of(points: Sequence[Point], quantity: Literal["capacity", "eer"] = "capacity") -> FloatArray:
    """Return the covariance of points, from any sessions, by the error keys their budgets share; shape (n, n).

    References
    ----------
    JCGM 100:2008, F.1.2.3: inputs common to two results correlate them.
    """
    budgets = [point.budget if quantity == "capacity" else point.eer_budget for point in points]
    keys = sorted({line.shared_key for budget in budgets for line in budget if line.shared_key is not None})
    column = {key: n for n, key in enumerate(keys)}
    shared = np.zeros((len(points), len(keys)))
    for row, budget in enumerate(budgets):
        for line in budget:
            if line.shared_key is not None:
                shared[row, column[line.shared_key]] += line.contribution_w
    covariance = shared @ shared.T
    np.fill_diagonal(covariance, [_variance(point, quantity) for point in points])
    return covariance


def _variance(point: Point, quantity: Literal["capacity", "eer"]) -> float:
    if quantity == "capacity":
        return point.capacity_u_w**2
    return sum(line.contribution_w**2 for line in point.eer_budget) or ((point.eer_u95 or 0.0) / 2.0) ** 2


def difference(values: Sequence[float], covariance: FloatArray, first: int, second: int) -> Measured:
    """Return first less second with its u: errors of instruments that both share cancel.

    Examples
    --------
    >>> difference([2400.0, 2300.0], np.array([[2500.0, 2400.0], [2400.0, 2500.0]]), 0, 1).u
    14.142135623730951
    """
    variance = covariance[first, first] + covariance[second, second] - 2.0 * covariance[first, second]
    return Measured(value=values[first] - values[second], u=sqrt(max(0.0, float(variance))))


def probability_above(values: Sequence[float] | FloatArray, covariance: FloatArray) -> FloatArray:
    """Return P(value i > value j) for every pair, shape (n, n); one half on the diagonal."""
    y, variance = np.asarray(values, dtype=np.float64), np.diag(covariance)
    spread = np.sqrt(np.maximum(variance[:, None] + variance[None, :] - 2.0 * covariance, 0.0))
    apart = y[:, None] - y[None, :]
    exact = np.where(apart == 0.0, 0.5, (apart > 0.0).astype(np.float64))
    return np.where(spread > 0.0, ndtr(apart / np.where(spread > 0.0, spread, 1.0)), exact)


def order(values: Sequence[float], covariance: FloatArray, sure: float = SURE) -> tuple[tuple[int, ...], ...]:
    """Return groups of indices, best first: between two groups every pair is told apart, within one it is not claimed.

    A group ends only where each unit above is above each unit below with probability `sure`, so no reader is shown
    an order that a pair of units would not bear out.

    Examples
    --------
    >>> order([2400.0, 2000.0, 2390.0], np.diag([400.0, 400.0, 400.0]))
    ((0, 2), (1,))
    """
    y = np.asarray(values, dtype=np.float64)
    ranked = np.argsort(-y, kind="stable")
    above = probability_above(y[ranked], covariance[np.ix_(ranked, ranked)])
    # worst[i, j]: least probability of any unit ranked up to i over any unit ranked from j on.
    worst = np.minimum.accumulate(np.minimum.accumulate(above, axis=0)[:, ::-1], axis=1)[:, ::-1]
    ends = np.flatnonzero(np.diagonal(worst, offset=1) >= sure) + 1
    return tuple(tuple(int(i) for i in group) for group in np.split(ranked, ends) if len(group))


def comparability(first: Mapping[str, Measured], second: Mapping[str, Measured]) -> Comparability:
    """Tell whether two conditions lie within the stated bands of each other, naming the worst that does not.

    The condenser inlet counts where both have it, the outdoor temperature else; what only one measured is not judged.

    Examples
    --------
    >>> cool, hot = ({"outdoor_temp_c": Measured(value=t, u=0.1)} for t in (27.0, 35.0))
    >>> comparability(cool, hot).because
    'outdoor temperature differs by 8.0 K, more than 1.5 K'
    """
    apart = []
    both_inlets = "condenser_inlet_temp_c" in first and "condenser_inlet_temp_c" in second
    for row in table("comparability_bands"):
        name, width = row["quantity"], float(row["half_width"])
        if name not in first or name not in second or (name == "outdoor_temp_c" and both_inlets):
            continue
        gap = abs(first[name].value - second[name].value)
        if gap > width:
            unit = row["quantity_unit"]
            apart.append((gap / width, f"{row['title']} differs by {gap:.1f} {unit}, more than {width:g} {unit}"))
    if not apart:
        return Comparability(True, "within the stated bands")
    return Comparability(False, max(apart)[1])


def control_chart(values: Sequence[float], u: Sequence[float]) -> Control:
    """Judge each run of a reference unit by the runs before it, in order of time.

    Limits are the earlier mean ± 3 s √(1 + 1/n), s no less than the runs' own u; the first LEAST_RUNS runs only build
    the chart.

    Examples
    --------
    >>> control_chart([2400.0, 2405.0, 2395.0, 2401.0, 2250.0], [5.0] * 5).outside.tolist()
    [False, False, False, False, True]
    """
    y, own = np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)
    count = np.maximum(np.arange(len(y), dtype=np.float64), 1.0)
    mean = np.concatenate([y[:1], np.cumsum(y)[:-1] / count[1:]])
    squares = np.concatenate([[0.0], np.cumsum(y**2)[:-1]])
    variance = np.maximum(squares - count * mean**2, 0.0) / np.maximum(count - 1.0, 1.0)
    half = CONTROL_SIGMAS * np.sqrt(np.maximum(variance, own**2) * (1.0 + 1.0 / count))
    known = np.arange(len(y)) >= LEAST_RUNS
    low, high = (np.where(known, mean + sign * half, np.nan) for sign in (-1.0, 1.0))
    return Control(mean, low, high, known & (np.abs(y - mean) > half))
