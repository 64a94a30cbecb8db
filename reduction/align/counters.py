"""Energy counters: readings that only grow, with glitches, resets and a coarse step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

GLITCH_S = 120.0  # a fall that comes back within this time was never a reset; common practice, no source
SMALL_DIP = 0.1  # of the reading: smaller falls are noise of the register, larger ones resets; common practice
DAY_S = 86_400.0
MOST_READINGS = 300  # are enough to find the step


@dataclass(frozen=True, eq=False)
class Counter:
    """A counter made whole: what was seen to be used between readings, and what a reset hid.

    `time_s` shape (n,) the readings kept; `energy` shape (n−1,) used between two of them as far as seen, `unseen`
    shape (n−1,) how much more a reset may have hidden, `seen_from_s` shape (n−1,) the start of the part of the
    interval that the seen energy belongs to, all in the counter's unit. `glitches` and `resets` hold the times [s].
    """

    time_s: FloatArray
    energy: FloatArray
    unseen: FloatArray
    seen_from_s: FloatArray
    glitches: FloatArray
    resets: FloatArray
    step: float


def step_of(readings: FloatArray) -> float:
    """Largest step that all readings are whole multiples of: the register's resolution; 0 for one without steps.

    Examples
    --------
    >>> round(step_of(np.array([10.0, 10.84, 11.68])), 9), step_of(np.array([0.0, 0.0]))
    (0.04, 0.0)
    """
    some = np.unique(np.abs(readings[np.isfinite(readings)]))[:MOST_READINGS]
    smallest = 1e-9 * float(np.max(some, initial=0.0))
    step = 0.0
    for reading in some.tolist():
        while reading > smallest:
            step, reading = reading, step % reading if step % reading < reading - smallest else 0.0
    return step if step > 1e3 * smallest else 0.0


def without_glitches(time_s: FloatArray, readings: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Drop falls that come back: times and readings kept, and the times of the glitches.

    A reading is a glitch when it lies below the one kept before it and a reading within two minutes (or the very
    next one) is at or above that again. What remains below afterwards was a reset.

    Examples
    --------
    >>> kept, readings, glitches = without_glitches(np.array([0.0, 60, 65, 120]), np.array([5.0, 0, 5.1, 5.2]))
    >>> readings.tolist(), glitches.tolist()
    ([5.0, 5.1, 5.2], [60.0])
    """
    keep = np.ones(len(readings), dtype=bool)
    for fall in (int(i) + 1 for i in np.flatnonzero(np.diff(readings) < 0)):
        if not keep[fall]:
            continue
        before = readings[fall - 1]
        last = max(fall + 1, int(np.searchsorted(time_s, time_s[fall] + GLITCH_S, side="right")) - 1)
        back = np.flatnonzero(readings[fall : last + 1] >= before)
        if len(back):
            keep[fall : fall + back[0]] = False
    return time_s[keep], readings[keep], time_s[~keep]


def counter_of(time_s: FloatArray, readings: FloatArray, midnight_offset_s: float | None = None) -> Counter:
    """Differences of a counter with glitches dropped and resets bridged.

    After a reset the new reading itself was used since the reset. Between the last reading before it and the
    reset at most the larger neighbouring rate times that time was used unseen. Where `midnight_offset_s` (local
    minus UTC) is given and the reset lies across local midnight, the reset is placed there.

    Parameters
    ----------
    time_s, readings
        Times [s] and register [any energy unit], NaN dropped beforehand, shape (n,).
    midnight_offset_s
        Offset of local time from UTC. [s]
    """
    step = step_of(readings)
    time_s, readings, glitches = without_glitches(time_s, readings)
    change, interval = np.diff(readings), np.diff(time_s)
    reset = change < -np.maximum(SMALL_DIP * np.abs(readings[:-1]), 0.0)
    energy = np.where(reset, np.maximum(readings[1:], 0.0), np.maximum(change, 0.0))
    seen_from = time_s[:-1].copy()
    unseen = np.zeros(len(change))
    rate = np.where(reset, 0.0, energy / np.maximum(interval, 1e-9))
    for at in (int(i) for i in np.flatnonzero(reset)):
        fastest = max(rate[max(at - 1, 0)], rate[min(at + 1, len(rate) - 1)])
        midnight = _midnight_within(time_s[at], time_s[at + 1], midnight_offset_s)
        if midnight is not None:
            seen_from[at] = midnight
            unseen[at] = fastest * (midnight - time_s[at])
        else:
            seen_from[at] = time_s[at + 1] - min(interval[at], energy[at] / fastest if fastest else 0.0)
            unseen[at] = max(0.0, fastest * interval[at] - energy[at])
    return Counter(time_s, energy, unseen, seen_from, glitches, time_s[1:][reset], step)


def _midnight_within(start_s: float, end_s: float, offset_s: float | None) -> float | None:
    if offset_s is None:
        return None
    midnight = np.floor((end_s + offset_s) / DAY_S) * DAY_S - offset_s
    return float(midnight) if start_s < midnight <= end_s else None
