"""The uncertainty of a mean whose samples remember each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SIGNIFICANT_LAG = 2.0
"""Autocorrelation below this many times 1/√n is taken as noise; the sum stops there (common practice)."""


@dataclass(frozen=True)
class MeanOfSeries:
    """A mean, its standard uncertainty, and the effective number of samples behind it."""

    value: float
    u: float
    effective_n: float

    @property
    def dof(self) -> float:
        """Degrees of freedom of u, at least one."""
        return max(1.0, self.effective_n - 1.0)


def effective_size_ar1(n: int, r: float) -> float:
    """Effective number of independent samples among n whose lag-one correlation r decays as r^k.

    References
    ----------
    Algebra of Var(mean) = s²/n·[1 + 2·Σ(1 − k/n)·r^k]; JCGM 100:2008, 4.2.7 asks for it.

    Examples
    --------
    >>> round(effective_size_ar1(100, 0.5), 3), effective_size_ar1(60, 0.0)
    (33.784, 60.0)
    """
    factor = (1 + r) / (1 - r) - 2 * r * (1 - r**n) / (n * (1 - r) ** 2)
    return float(n / factor)


def autocorrelation(values: FloatArray) -> FloatArray:
    """Autocorrelation at lags 0…n − 1, biased estimate.

    Parameters
    ----------
    values
        Equally spaced samples without gaps, shape (n,).
    """
    deviations = values - values.mean()
    n = len(deviations)
    spectrum = np.fft.rfft(deviations, 2 * n)
    covariance = np.fft.irfft(spectrum * spectrum.conj(), 2 * n)[:n]
    return np.asarray(covariance / covariance[0] if covariance[0] > 0 else np.eye(1, n)[0])


def effective_size(values: FloatArray) -> float:
    """Effective number of independent samples, from the autocorrelation up to its first insignificant lag.

    References
    ----------
    Witt, Metrologia 44 (2007) 201–209, and Zhang, Metrologia 43 (2006) S276–S281: the mean of a stationary
    autocorrelated process with a cut-off lag found from the data.

    Examples
    --------
    >>> effective_size(np.array([1.0, -1.0] * 50))
    100.0
    """
    n = len(values)
    rho = autocorrelation(np.asarray(values, dtype=np.float64))
    noise = np.flatnonzero(rho < SIGNIFICANT_LAG / np.sqrt(n))
    lags = np.arange(1, noise[0] if len(noise) else n)
    factor = 1.0 + 2.0 * float(np.sum((1.0 - lags / n) * rho[lags]))
    return float(np.clip(n / factor, 1.0, n))


def mean_of(values: FloatArray) -> MeanOfSeries:
    """Mean of equally spaced samples with the uncertainty their autocorrelation leaves.

    References
    ----------
    JCGM 100:2008, 4.2.3 with n replaced by its effective value, 4.2.7.
    """
    n_eff = effective_size(values)
    spread = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    return MeanOfSeries(float(values.mean()), spread / float(np.sqrt(n_eff)), n_eff)


def slope_of(time_s: FloatArray, values: FloatArray) -> tuple[float, float, float]:
    """Least-squares slope with the standard uncertainty that autocorrelated residuals leave.

    Returns
    -------
    tuple
        Slope [unit/s], its u [unit/s], degrees of freedom.

    References
    ----------
    JCGM 100:2008, H.3.3 equations (H.13) with n in the residual variance of the slope replaced by its
    effective value.

    Examples
    --------
    >>> slope_of(np.arange(5.0), np.arange(5.0) * 2.0)[0]
    2.0
    """
    t = time_s - time_s.mean()
    spread = float(np.sum(t * t))
    slope = float(np.sum(t * values)) / spread
    residual = values - values.mean() - slope * t
    n_eff = effective_size(residual)
    dof = max(1.0, n_eff - 2.0)
    variance = float(np.sum(residual**2)) / max(1.0, len(values) - 2.0)
    return slope, float(np.sqrt(variance * len(values) / n_eff / spread)), dof
