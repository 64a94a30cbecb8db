"""Clocks of files: the correction a tester confirmed, and the one that shared events suggest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reduction.session import ClockCorrection

FloatArray = NDArray[np.float64]


def corrected(time_s: FloatArray, clock: ClockCorrection) -> FloatArray:
    """Times on the true clock: true = logged + offset + drift × (logged − reference).

    Parameters
    ----------
    time_s
        Logged times, Unix UTC, shape (n,). [s]
    clock
        As confirmed for the file; without a reference the drift counts from the first stamp.

    Examples
    --------
    >>> corrected(np.array([0.0, 1e5]), ClockCorrection(offset_s=-94.0, drift_ppm=20.0)).tolist()
    [-94.0, 99908.0]
    """
    if (clock.offset_s == 0.0 and clock.drift_ppm == 0.0) or not len(time_s):
        return time_s
    reference = clock.reference_utc.timestamp() if clock.reference_utc else float(time_s[0])
    return time_s + clock.offset_s + clock.drift_ppm * 1e-6 * (time_s - reference)
