"""Every channel on one clock, with exact means over any span and an aligned grid to look at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.session import Instrument, Role, SampleKind

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Series:
    """One channel in SI on its own times, after clock and calibration corrections.

    `time_s` Unix time UTC [s], strictly increasing, shape (n,); `values` in SI (°C, %, W, J for counters, kg),
    NaN = known to be missing. `kind` says what a row stands for (step-hold, instant, interval mean, counter).
    """

    key: str
    file: str
    column: str
    role: Role
    place: str
    kind: SampleKind
    time_s: FloatArray
    values: FloatArray
    instrument: Instrument | None
    placement_u: float
    stale_after_s: float


@dataclass(frozen=True)
class Timeline:
    """All series of a session on one grid.

    `grid_s` holds the left edges of equal cells of `step_s`, shape (n,); `cells[key]` the mean of that series
    over each cell, shape (n,), NaN where less than half of the cell is known.
    """

    grid_s: FloatArray
    step_s: float
    series: dict[str, Series]
    cells: dict[str, FloatArray]
