"""How fast water leaves or enters the room: scales that are logged, and weighings by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Series
from reduction.session import Weighing
from reduction.uncertainty.readings import from_limit, instrument_of
from reduction.uncertainty.repeatability import slope_of

FloatArray = NDArray[np.float64]

LEAST_OVERLAP = 0.5
"""Of the window or of the weighing: less in common and the weighing says little about the window."""
OUTSIDE_RATE = 0.3
"""Relative standard uncertainty of taking a rate over for time that was not weighed; common practice, no source."""
HANDLING = 6.0
"""A step against the trend of so many usual steps is a refill or an emptying, not flow; common practice, no source."""
MOST_HANDLED, UNSTEADY = 0.1, 0.1
"""Steps against the trend in more of the readings are a tank that ran dry or a flow that changed, and what its rate is
then doubted by, relative standard uncertainty; common practice, no source."""
LEAST_READINGS = 4


@dataclass(frozen=True)
class WaterRate:
    """A flow of water with its standard uncertainty [kg/s]; `key` names the error that other windows share."""

    kg_per_s: float
    u_kg_per_s: float
    how: str
    key: str | None = None
    gain_u: float = 0.0


def scale_rate(series: Series, start_s: float, end_s: float) -> WaterRate | None:
    """Rate from a logged scale: the least-squares slope in the window, refills and emptyings taken out.

    Returns
    -------
    WaterRate or None
        Positive whether the scale fills (a bucket) or runs down (a tank); None with fewer than four readings.

    References
    ----------
    Slope and its u as `repeatability.slope_of`; limits of the scale JCGM 100:2008, 4.3.7.
    """
    inside = (series.time_s >= start_s) & (series.time_s <= end_s) & np.isfinite(series.values)
    time_s, mass = series.time_s[inside], series.values[inside]
    if len(time_s) < LEAST_READINGS:
        return None
    handled, times = _unhandled(time_s, mass)
    instrument = instrument_of(series, "mass")
    span = float(time_s[-1] - time_s[0])
    display = instrument.resolution / np.sqrt(6.0) / span
    if times > MOST_HANDLED * len(time_s):
        rate, said = abs(float(mass[-1] - mass[0])) / span, "; the flow was not steady, so from its first to its last"
        slope, u = rate, UNSTEADY * rate
    else:
        slope, u, _ = slope_of(time_s, handled)
        said = f"; {times} refills or emptyings taken out" if times else ""
    return WaterRate(
        abs(slope),
        float(np.hypot(u, display)),
        f"slope of {series.name} over {len(time_s)} readings{said}",
        f"instrument:{instrument.id}:gain" if instrument.id else None,
        from_limit(instrument.gain_limit, instrument.distribution).u,
    )


def _unhandled(time_s: FloatArray, mass: FloatArray) -> tuple[FloatArray, int]:
    """Return the mass as if nobody had touched the vessel, and how often somebody had."""
    steps, lengths = np.diff(mass), np.diff(time_s)
    rate = float(np.median(steps / lengths))
    usual = rate * lengths
    against = np.abs(steps - usual) > HANDLING * np.maximum(np.abs(usual), np.median(np.abs(steps - usual)) + 2e-3)
    mended = np.where(against, usual, steps)
    return np.concatenate([[mass[0]], mass[0] + np.cumsum(mended)]), int(against.sum())


def weighed_rate(weighings: Sequence[Weighing], what: str, start_s: float, end_s: float) -> WaterRate | None:
    """Rate from weighings by hand that overlap the window enough.

    Returns
    -------
    WaterRate or None
        Masses over times; what of the window was not weighed is taken at the same rate, less surely.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> hour = [datetime.fromtimestamp(t, UTC) for t in (0, 3600)]
    >>> one = Weighing(what="condensate", mass_kg=1.0, u95_kg=0.01, start_utc=hour[0], end_utc=hour[1])
    >>> rate = weighed_rate([one], "condensate", 0.0, 3600.0)
    >>> round(rate.kg_per_s * 3600, 3), round(rate.u_kg_per_s * 3600, 3)
    (1.0, 0.005)
    """
    mass = seconds = variance = shared = 0.0
    for weighing in weighings:
        first, last = weighing.start_utc.timestamp(), weighing.end_utc.timestamp()
        common = min(last, end_s) - max(first, start_s)
        if weighing.what == what and last > first and common >= LEAST_OVERLAP * min(last - first, end_s - start_s):
            mass, seconds, shared = mass + weighing.mass_kg, seconds + last - first, shared + common
            variance += (weighing.u95_kg / 2.0) ** 2
    if not seconds:
        return None
    rate = mass / seconds
    missing = max(0.0, 1.0 - shared / (end_s - start_s))
    outside = max(0.0, 1.0 - shared / seconds)
    u = np.hypot(np.sqrt(variance) / seconds, OUTSIDE_RATE * rate * max(missing, outside) / 2.0)
    return WaterRate(rate, float(u), f"{mass:.3f} kg weighed in {seconds / 60.0:.0f} min")
