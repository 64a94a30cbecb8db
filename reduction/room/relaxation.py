"""How stores of heat behind the room air follow a past change: sums of exponential relaxations.

Seen from the room air, any passive network of conductances and heat stores takes the heat flow

    Q(s) = −[UA + s·C + Σ_p H_p·r_p(s)] · T_room(s) + Σ_k UA_k · [1 − Σ_p w_kp·r_p(s)] · T_k(s)

with r_p(s) = s·τ_p / (1 + s·τ_p) and H_p, τ_p > 0 (the partial-fraction form of an RC driving-point admittance,
Foster's theorem; from memory). So what UA·ΔT and C·dT/dt cannot see is a sum of one kind of thing: a temperature
passed through r_p, which is zero when nothing has changed for several τ. No number of wall layers is assumed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MOST_DECAY = 100.0  # e-foldings in one block of the recursion, so that neither end of it leaves double precision


def fill_gaps(values: FloatArray) -> FloatArray:
    """Bridge missing cells by straight lines, and hold the first and last known value outwards.

    Parameters
    ----------
    values
        Cells on an equal grid, shape (n,), NaN where missing.

    Returns
    -------
    numpy.ndarray
        The same cells without NaN; all NaN stays all NaN.

    Examples
    --------
    >>> fill_gaps(np.array([np.nan, 1.0, np.nan, 3.0])).tolist()
    [1.0, 1.0, 2.0, 3.0]
    """
    known = np.flatnonzero(np.isfinite(values))
    if known.size in (0, values.size):
        return values
    return np.interp(np.arange(values.size), known, values[known])


def relaxing_part(driver_c: FloatArray, step_s: float, tau_s: FloatArray) -> FloatArray:
    """Part of a temperature that a store of time constant τ has not followed yet.

    The exact answer of y' = −y/τ + T' for a temperature that is straight between samples, from y = 0 at the first
    sample.

    Parameters
    ----------
    driver_c
        Temperature on an equal grid, shape (n,), without NaN. [°C]
    step_s
        Step of the grid. [s]
    tau_s
        Time constants, shape (m,), each above zero. [s]

    Returns
    -------
    numpy.ndarray
        Temperature minus its lagged copy, shape (m, n). [K]

    Examples
    --------
    One time constant after a step of 1 K, 37 % is still to be followed:

    >>> step = np.array([0.0] + [1.0] * 3601)
    >>> y = relaxing_part(step, 1.0, np.array([3600.0]))
    >>> round(float(y[0, 3601]), 3)
    0.368
    """
    rate = (step_s / tau_s)[:, None]
    arriving = np.diff(driver_c, prepend=driver_c[0]) * (-np.expm1(-rate) / rate)
    length = int(min(driver_c.size, 1.0 + MOST_DECAY / rate.max()))
    growth = np.exp(rate * np.arange(1, length + 1))
    still = np.zeros((tau_s.size, 1))
    blocks = []
    for first in range(0, driver_c.size, length):
        part = arriving[:, first : first + length]
        grown = growth[:, : part.shape[1]]
        blocks.append((still + np.cumsum(part * grown, axis=1)) / grown)
        still = blocks[-1][:, -1:]
    return np.concatenate(blocks, axis=1)


def relaxing_means(driver_c: FloatArray, step_s: float, tau_s: FloatArray, edges: NDArray[np.int64]) -> FloatArray:
    """Means of the relaxing part over spans of cells, from its values at their edges alone.

    Summing y[n] = k·y[n−1] + g·(T[n] − T[n−1]) over a span gives (1 − k)·Σy = g·ΔT − k·Δy, from the cell before the
    span to its last one.

    Parameters
    ----------
    driver_c, step_s, tau_s
        As `relaxing_part`.
    edges
        First and one-past-last cell of each span, shape (k, 2).

    Returns
    -------
    numpy.ndarray
        Shape (m, k). [K]

    Examples
    --------
    >>> course, spans = np.array([20.0, 21.0, 21.5, 21.5]), np.array([[0, 2], [1, 4]])
    >>> part = relaxing_part(course, 60.0, np.array([600.0]))
    >>> np.allclose(relaxing_means(course, 60.0, np.array([600.0]), spans), span_means(part, spans))
    True
    """
    before = np.maximum(edges - 1, 0)
    risen = np.diff(driver_c[before])[:, 0]
    ends = np.where(edges > 0, relaxing_part(driver_c, step_s, tau_s)[:, before], 0.0)
    rate = (step_s / tau_s)[:, None]
    lost = -np.expm1(-rate)
    return np.asarray((risen / rate - np.exp(-rate) / lost * np.diff(ends)[:, :, 0]) / (edges[:, 1] - edges[:, 0]))


def span_means(cells: FloatArray, edges: NDArray[np.int64]) -> FloatArray:
    """Means over spans of cells.

    Parameters
    ----------
    cells
        Shape (..., n).
    edges
        First and one-past-last cell of each span, shape (k, 2).

    Returns
    -------
    numpy.ndarray
        Shape (..., k).

    Examples
    --------
    >>> span_means(np.array([1.0, 2.0, 3.0, 5.0]), np.array([[0, 2], [2, 4]])).tolist()
    [1.5, 4.0]
    """
    total = np.concatenate([np.zeros((*cells.shape[:-1], 1)), np.cumsum(cells, axis=-1)], axis=-1)
    return np.asarray((total[..., edges[:, 1]] - total[..., edges[:, 0]]) / (edges[:, 1] - edges[:, 0]))


def decay_means(step_s: float, tau_s: FloatArray, edges: NDArray[np.int64]) -> FloatArray:
    """Means over spans of cells of what is left of one unit at the first cell, exp(−t/τ), as a geometric sum.

    Parameters
    ----------
    step_s
        Step of the grid. [s]
    tau_s
        Time constants, shape (m,). [s]
    edges
        First and one-past-last cell of each span, shape (k, 2).

    Returns
    -------
    numpy.ndarray
        Shape (m, k).

    Examples
    --------
    >>> decay_means(3600.0, np.array([3600.0]), np.array([[0, 1], [0, 2]])).round(3).tolist()
    [[1.0, 0.684]]
    """
    rate = step_s / tau_s[:, None]
    left = np.exp(-rate * edges[:, 0]) - np.exp(-rate * edges[:, 1])
    return np.asarray(left / (-np.expm1(-rate) * (edges[:, 1] - edges[:, 0])))
