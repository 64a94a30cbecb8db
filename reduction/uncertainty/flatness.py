"""The half-width of a sum of errors of known shapes: exact where limits, not standard deviations, are what is known.

A budget led by one or two limits ends sooner than a normal one of the same u, and k = 2 would hold nearly everything.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

FloatArray = NDArray[np.float64]
Shape = Literal["normal", "rectangular", "triangular"]

LIMITED: tuple[Shape, Shape] = ("rectangular", "triangular")
HALF_PERIOD = 9.0  # standard deviations: nothing of a normal error lies beyond
NEWTON_STEPS = 60
HARMONICS: FloatArray = np.arange(1.0, 257.0)


def half_width(contributions: FloatArray, shapes: Sequence[Shape], probability: float) -> float:
    """Half-width, in combined standard uncertainties, of the symmetric interval that holds a sum of independent errors.

    The density of the sum is the Fourier series of the product of the errors' characteristic functions: a cardinal
    sine for a limit, its square for a triangle, a Gauss curve for the normal ones together.

    Parameters
    ----------
    contributions
        Standard uncertainty of each error, shape (k,).
    shapes
        Distribution of each, k of them; errors of finite degrees of freedom count as normal here.
    probability
        To be held, within 0…1.

    References
    ----------
    JCGM 101:2008, 5.3.2 and 7.7.2: the probabilistically symmetric interval from the distribution of the output;
    9.2.3 and 9.2.4 for sums of rectangular errors. Fourier inversion from memory.

    Examples
    --------
    One limit alone, four alike, and a limit lost among normal errors:

    >>> one = half_width(np.array([1.0]), ["rectangular"], 0.95)
    >>> four = half_width(np.ones(4), ["rectangular"] * 4, 0.95)
    >>> lost = half_width(np.array([1.0, 9.0]), ["rectangular", "normal"], 0.95)
    >>> round(one, 3), round(four, 3), round(lost, 3)
    (1.645, 1.94, 1.96)
    """
    parts = np.abs(np.asarray(contributions, dtype=np.float64))
    combined = sqrt(float(parts @ parts))
    flat, pointed = (np.array([shape == wanted for shape in shapes]) & (parts > 0.0) for wanted in LIMITED)
    if not (flat | pointed).any():
        return float(ndtri(0.5 + probability / 2.0))
    parts = parts / combined
    turn = HARMONICS / (2.0 * HALF_PERIOD)
    curve = np.exp(-0.5 * (2.0 * np.pi * turn) ** 2 * np.sum(parts[~(flat | pointed)] ** 2))
    curve = curve * np.prod(np.sinc(2.0 * sqrt(3.0) * np.outer(parts[flat], turn)), axis=0)
    curve = curve * np.prod(np.sinc(sqrt(6.0) * np.outer(parts[pointed], turn)) ** 2, axis=0)
    weight = curve * 2.0 / (np.pi * HARMONICS)

    width = 0.0
    for _ in range(NEWTON_STEPS):  # from below on a convex falling curve: none passes the root
        angle = 2.0 * np.pi * width * turn
        missing = probability - width / HALF_PERIOD - float(weight @ np.sin(angle))
        step = missing / (1.0 / HALF_PERIOD + 2.0 * np.pi * float((weight * turn) @ np.cos(angle)))
        width += step
        if abs(step) < 1e-6:
            break
    return width
