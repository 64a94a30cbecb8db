"""Thermostats that switch: cycles of a heater or of the unit itself, and what a window that cuts one may miss."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from reduction.align.pieces import FloatArray, Pieces
from reduction.align.series import Series
from reduction.align.timeline import Timeline, remembered
from reduction.session import Role

LEAST_SWING_W = 30.0  # a switching worth the name; common practice, no source
LEAST_SWING_K = 6.0  # of supply air, likewise: between a coil that cools and one that only gets blown through
LEAST_SWING_SHARE = 0.2
LOOKS = 4000  # at the signal, evenly in time, to find its levels
MOST_FAN_SHARE = 0.35  # of its full power that a unit still draws with its compressor off; common practice
HEATER_ROLES = (Role.HEATER_CYCLING_POWER, Role.HEATER_CONSTANT_POWER, Role.OTHER_POWER)


@dataclass(frozen=True, eq=False)
class Cycle:
    """A signal that goes on and off: its switchings and its habits.

    `up_s` times of switching on [s], shape (n,); `period_s` median distance of two of them; `duty` share of time
    on; `on_w`, `off_w` levels.
    """

    key: str
    name: str
    up_s: FloatArray
    period_s: float
    duty: float
    on_w: float
    off_w: float

    @property
    def swing_w(self) -> float:
        """Height of the switching. [W]"""
        return self.on_w - self.off_w


def cycle_of(series: Series, start_s: float, end_s: float, least_swing: float = LEAST_SWING_W) -> Cycle | None:
    """Cycle of a switched signal within a span, or None where it switches on fewer than three times.

    Edges are where the signal passes the middle band (40–60 %) between its levels, so noise on a level makes none;
    an edge inside a gap has no known time and is left out.

    Examples
    --------
    >>> from reduction.session import SampleKind
    >>> time = np.arange(0.0, 3600.0, 300.0)
    >>> heater = Series("h", "f.csv", "h", Role.HEATER_CYCLING_POWER, "", SampleKind.HELD, time,
    ...     np.tile([1500.0, 0.0], 6), None, 0.0, 900.0)
    >>> cycle = cycle_of(heater, 0.0, 3600.0)
    >>> cycle.period_s, cycle.duty, cycle.swing_w
    (600.0, 0.5, 1500.0)
    """
    if np.ptp(series.pieces.left) < least_swing:
        return None
    sampled = np.linspace(start_s, end_s, LOOKS + 1)[:-1]
    course = series.pieces.at(sampled)
    course = course[np.isfinite(course)]
    if len(course) < LOOKS / 20 or np.ptp(course) < least_swing:
        return None
    off, on = (float(level) for level in np.quantile(course, [0.02, 0.98]))
    if on - off < max(least_swing, LEAST_SWING_SHARE * on):
        return None
    up, duty = _switchings(series.pieces, start_s, end_s, off, on)
    if len(up) < 3:
        return None
    middle = (off + on) / 2
    return Cycle(
        key=series.key,
        name=series.name,
        up_s=up,
        period_s=float(np.median(np.diff(up))),
        duty=duty,
        on_w=float(np.median(course[course > middle])),
        off_w=float(np.median(course[course <= middle])),
    )


def _switchings(pieces: Pieces, start_s: float, end_s: float, off: float, on: float) -> tuple[FloatArray, float]:
    """Times of switching on within a span, and the share of the time from the first to the last that the signal is on.

    The state changes where the signal passes the middle band, 40–60 %, between its levels, and holds in between.
    """
    first, last = np.searchsorted(pieces.edges_s, [start_s, end_s])
    chosen = slice(max(0, int(first) - 1), int(last))
    value, begin, usable = pieces.left[chosen], pieces.edges_s[:-1][chosen], pieces.usable[chosen]
    is_on, is_off = usable & (value > off + 0.6 * (on - off)), usable & (value < off + 0.4 * (on - off))
    told = np.flatnonzero(is_on | is_off)
    state, at = is_on[told], begin[told]
    rises = np.flatnonzero(state[1:] & ~state[:-1] & usable[told[1:] - 1]) + 1
    if len(rises) < 2:
        return at[rises], float("nan")
    held = np.diff(at[rises[0] : rises[-1] + 1])
    return at[rises], float(held[state[rises[0] : rises[-1]]].sum() / held.sum())


@remembered
def heater_cycle(timeline: Timeline, start_s: float, end_s: float) -> Cycle | None:
    """The cycle with the largest swing among heaters and other loads in the room, over a span."""
    cycles = [cycle_of(series, start_s, end_s) for series in timeline.of(*HEATER_ROLES)]
    return max((cycle for cycle in cycles if cycle), key=lambda cycle: cycle.swing_w, default=None)


@remembered
def unit_cycle(timeline: Timeline, start_s: float, end_s: float) -> Cycle | None:
    """On-off cycle of the unit on its own thermostat; a unit that steps between two speeds has none."""
    for series in timeline.of(Role.UNIT_POWER):
        cycle = cycle_of(series, start_s, end_s)
        if cycle and cycle.off_w <= MOST_FAN_SHARE * cycle.on_w:
            return cycle
    return None if timeline.of(Role.UNIT_POWER) else _supply_cycle(timeline, start_s, end_s)


def _supply_cycle(timeline: Timeline, start_s: float, end_s: float) -> Cycle | None:
    """On-off cycle of a unit whose power nobody logged: its supply air warms when the compressor stops."""
    colder = (replace(series, values=-series.values) for series in timeline.of(Role.SUPPLY_TEMP))
    return next((cycle for each in colder if (cycle := cycle_of(each, start_s, end_s, LEAST_SWING_K))), None)


def cycles_within(cycle: Cycle | None, start_s: float, end_s: float) -> Cycle | None:
    """The cycle, if it goes on inside the window: at least half of the switchings its period asks for."""
    if cycle is None:
        return None
    inside = np.sum((cycle.up_s > start_s - cycle.period_s) & (cycle.up_s < end_s + cycle.period_s))
    return cycle if inside >= max(2.0, 0.5 * (end_s - start_s) / cycle.period_s) else None


def snapped(cycle: Cycle, start_s: float, end_s: float, *, inward: bool = False) -> tuple[float, float]:
    """Both ends of a window moved to the nearest switching-on, by at most one period each.

    With `inward` only to those inside the window. A window that holds no whole cycle stays as it is.

    Examples
    --------
    >>> cycle = Cycle("h", "h", np.arange(0.0, 7200.0, 600.0), 600.0, 0.5, 1500.0, 0.0)
    >>> snapped(cycle, 130.0, 2400.0)
    (0.0, 2400.0)
    """
    ups = cycle.up_s[(cycle.up_s >= start_s) & (cycle.up_s <= end_s)] if inward else cycle.up_s
    if not len(ups):
        return start_s, end_s
    first, last = (float(ups[np.argmin(np.abs(ups - at))]) for at in (start_s, end_s))
    first = first if abs(first - start_s) <= cycle.period_s else start_s
    last = last if abs(last - end_s) <= cycle.period_s else end_s
    return (first, last) if last - first >= 0.5 * cycle.period_s else (start_s, end_s)


def cycles_in(cycle: Cycle, start_s: float, end_s: float) -> float:
    """How many cycles a window holds, the parts at its ends counted by the period.

    Examples
    --------
    >>> cycles_in(Cycle("h", "h", np.arange(0.0, 7200.0, 600.0), 600.0, 0.5, 1500.0, 0.0), 0.0, 2100.0)
    3.5
    """
    ups = cycle.up_s[(cycle.up_s >= start_s - 1e-6) & (cycle.up_s <= end_s + 1e-6)]
    if len(ups) < 2:
        return (end_s - start_s) / cycle.period_s
    return float(len(ups) - 1 + (ups[0] - start_s + end_s - ups[-1]) / cycle.period_s)


def phase_bias_w(cycle: Cycle, start_s: float, end_s: float) -> float:
    """The most by which a window's mean power can differ from the mean over whole cycles. [W]

    The part r of a period that is left over may hold anything from max(0, r − off time) to min(r, on time) of
    on-time, where duty × r is its share; the difference, times the swing, over the window. Nought for a window
    between two switchings on.

    Examples
    --------
    A heater of 1,500 W, half of the time on, ten minutes a cycle, in a raw window of 35 minutes:

    >>> cycle = Cycle("h", "h", np.arange(0.0, 7200.0, 600.0), 600.0, 0.5, 1500.0, 0.0)
    >>> round(phase_bias_w(cycle, 0.0, 2100.0), 1), phase_bias_w(cycle, 0.0, 2400.0)
    (107.1, 0.0)
    """
    left_over = cycles_in(cycle, start_s, end_s) % 1.0 * cycle.period_s
    on_s, off_s = cycle.duty * cycle.period_s, (1 - cycle.duty) * cycle.period_s
    share = cycle.duty * left_over
    worst = max(min(left_over, on_s) - share, share - max(0.0, left_over - off_s))
    return float(cycle.swing_w * worst / (end_s - start_s))
