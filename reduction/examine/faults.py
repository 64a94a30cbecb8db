"""Faults of sensors as masks on their own samples. A mask decides nothing; `examination` words and weighs them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reduction.align.series import POWER_ROLES, SOME, Series
from reduction.session import Role, SampleKind

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

INDOOR_ROLES = frozenset({Role.ROOM_TEMP, Role.RETURN_TEMP, Role.ADJACENT_TEMP})
TEMP_ROLES = frozenset(role for role in Role if role.value.endswith(("_temp", "_wet_bulb")))
RH_ROLES = frozenset(role for role in Role if role.value.endswith("_rh"))

# What a channel can show at all in such a test; common practice, no source.
DRIEST_PERCENT = 1.0  # drier than any room and any yard; a humidity that is a share of one reads so, common practice
POSSIBLE: dict[Role, tuple[float, float]] = (
    dict.fromkeys(TEMP_ROLES, (-40.0, 110.0))
    | {Role.SUPPLY_TEMP: (-25.0, 80.0), Role.ROOM_TEMP: (-10.0, 60.0), Role.RETURN_TEMP: (-10.0, 60.0)}
    | dict.fromkeys(RH_ROLES, (DRIEST_PERCENT, 105.0))
    | dict.fromkeys(POWER_ROLES, (-20.0, 20_000.0))
)
# Where a place is too hot to be in °C, and what it may be once taken as °F; common practice, no source.
TOO_HOT: dict[Role, tuple[float, float, float]] = dict.fromkeys(INDOOR_ROLES, (48.0, 8.0, 45.0)) | {
    Role.OUTDOOR_TEMP: (58.0, -10.0, 52.0),
    Role.CONDENSER_INLET_TEMP: (58.0, -10.0, 52.0),
    Role.CONDENSER_OUTLET_TEMP: (85.0, 10.0, 70.0),
    Role.SUPPLY_TEMP: (40.0, 0.0, 25.0),
}
SPIKE_TEMP_K = 4.0  # a jump and back within one or two samples; air and probe are slower, common practice
SPIKE_RH_PERCENT = 15.0
SPIKE_NOISE = 15.0  # times the usual change from sample to sample
SPIKE_S = 300.0  # the neighbours must be near, or the jump is a real change seen sparsely
FULL_SCALE_SHARE = 0.05
FROZEN_TIMES = 10.0  # times as many equal readings in a row as nearly all other rows of equal ones have
FROZEN_S, LEAST_FROZEN, DRAWS_W = 900.0, 15, 20.0  # common practice, no source


def out_of_range(series: Series) -> BoolArray:
    """Samples that the quantity cannot have in such a test, such as −127 °C of an absent probe; shape (n,)."""
    low, high = POSSIBLE.get(series.role, (-np.inf, np.inf))
    with np.errstate(invalid="ignore"):
        return np.asarray((series.values < low) | (series.values > high), dtype=bool)


def spiking(series: Series) -> BoolArray:
    """Single or paired samples that jump away from both neighbours and come back; shape (n,).

    Only for temperatures and humidity: power may do that. A power-up value of 85 °C is caught here, and kept where
    the neighbours are near it.

    Examples
    --------
    >>> probe = Series("p", "f.csv", "p", Role.ROOM_TEMP, "", SampleKind.INSTANT, np.arange(6.0) * 10,
    ...     np.array([22.0, 22.1, 85.0, 22.1, 22.0, 22.1]), None, 0.0, 60.0)
    >>> spiking(probe).tolist()
    [False, False, True, False, False, False]
    """
    mask = np.zeros(len(series.values), dtype=bool)
    least = SPIKE_RH_PERCENT if series.role in RH_ROLES else SPIKE_TEMP_K
    if series.role not in TEMP_ROLES | RH_ROLES:
        return mask
    value = _known(series.values)
    if len(value) < 5:
        return mask
    change = np.abs(np.diff(value))
    if change.max() <= least:
        return mask
    limit = max(least, SPIKE_NOISE * float(np.median(change[:: max(1, len(change) // SOME)])))
    known = np.flatnonzero(np.isfinite(series.values))
    time = series.time_s[known]
    for width in (1, 2):
        before, after = value[: -width - 1], value[width + 1 :]
        near = time[width + 1 :] - time[: -width - 1] <= SPIKE_S
        inside = np.stack([value[1 + k : len(value) - width + k] for k in range(width)])
        up = (inside - np.maximum(before, after)).min(axis=0) > limit
        down = (np.minimum(before, after) - inside).min(axis=0) > limit
        for at in np.flatnonzero(near & (up | down)):
            mask[known[at + 1 : at + 1 + width]] = True
    return mask


def stuck(series: Series, for_at_least_s: float = 3600.0) -> BoolArray:
    """Samples of runs that show one value to the last digit for a long time; shape (n,).

    A run lasts from its first sample to the next different one, so an event log that reports changes only is
    judged by its silence. Whether standing still was wrong is for the reader of the mask: a quiet room does it too.

    Examples
    --------
    >>> probe = Series("p", "f.csv", "p", Role.ROOM_TEMP, "", SampleKind.INSTANT, np.arange(5.0) * 1800,
    ...     np.array([22.0, 22.5, 22.5, 22.5, 23.0]), None, 0.0, 60.0)
    >>> stuck(probe).tolist()
    [False, True, True, True, False]
    """
    value, time = series.values, series.time_s
    if len(value) < 2:
        return np.zeros(len(value), dtype=bool)
    starts, counts = _runs(value)
    if counts.max() * np.diff(time).max() < for_at_least_s:
        return np.zeros(len(value), dtype=bool)
    ends = np.append(time[starts[1:]], time[-1])
    long = (ends - time[starts] >= for_at_least_s) & np.isfinite(value[starts])
    return np.repeat(long, counts)


def _runs(value: FloatArray | BoolArray) -> tuple[IntArray, IntArray]:
    """Where runs of equal values start, and how many values each has."""
    starts = np.flatnonzero(np.concatenate([[True], value[1:] != value[:-1]]))
    return starts, np.diff(starts, append=len(value))


def _known(values: FloatArray) -> FloatArray:
    """The values that are known, without a copy where all are."""
    known = np.isfinite(values)
    return values if known.all() else values[known]


def frozen(series: Series) -> BoolArray:
    """Samples of a polled power that stands at one value to the last digit, far longer than it otherwise does.

    A load that is off shows nothing and may stand still; an event log is silent while nothing changes.

    Examples
    --------
    >>> watts = np.r_[1200.0 + np.arange(300) % 7, np.full(120, 1203.0), 1200.0 + np.arange(300) % 7]
    >>> plug = Series("h", "f.csv", "h", Role.HEATER_CONSTANT_POWER, "", SampleKind.INSTANT,
    ...     10.0 * np.arange(720), watts, None, 0.0, 60.0)
    >>> int(frozen(plug).sum())
    120
    """
    value, time = series.values, series.time_s
    mask = np.zeros(len(value), dtype=bool)
    if series.role not in POWER_ROLES or series.kind is SampleKind.HELD or len(value) < LEAST_FROZEN:
        return mask
    starts, counts = _runs(value)
    drawn = value[starts] > DRAWS_W
    if counts.max() < LEAST_FROZEN or drawn.sum() < LEAST_FROZEN:
        return mask
    lasts = time[starts + counts - 1] - time[starts]
    long = drawn & (counts >= LEAST_FROZEN) & (lasts >= FROZEN_S)
    if long.any():
        long &= counts >= FROZEN_TIMES * float(np.quantile(counts[drawn], 0.95))
    return np.repeat(long, counts)


def smallest_move(values: FloatArray) -> float:
    """Smallest change from one sample to the next, the resolution as it shows; 0 where nothing moves.

    Examples
    --------
    >>> smallest_move(np.array([22.0, 22.0, 22.5, 21.5]))
    0.5
    """
    moves = np.abs(np.diff(_known(values)))
    return float(np.min(moves[moves > 0], initial=np.inf)) if np.any(moves > 0) else 0.0


def saturated(series: Series) -> BoolArray:
    """Samples at the end of a channel's scale: long runs at its own highest or lowest value; shape (n,).

    Asked of humidity and temperatures only, of channels that otherwise move by many steps; a run of at least ten
    samples and at least a twentieth of all.
    """
    value = series.values
    mask = np.zeros(len(value), dtype=bool)
    known = _known(value)
    if series.role not in TEMP_ROLES | RH_ROLES or len(known) < 50 or series.kind == SampleKind.HELD:
        return mask
    step = smallest_move(known[:10_000])
    low, high = float(known.min()), float(known.max())
    if high - low < 20 * step:
        return mask
    for extreme in (low, high):
        at = value == extreme
        if np.count_nonzero(at) < max(10.0, FULL_SCALE_SHARE * len(value)):
            continue
        starts, lengths = _runs(at)
        long = at[starts] & (lengths >= max(10.0, FULL_SCALE_SHARE * len(value)))
        mask |= np.repeat(long, lengths)
    return mask


def fahrenheit_as_celsius(series: Series) -> bool:
    """Whether a channel in °C only makes sense as °F: its level is impossible in its place, and right once converted.

    Examples
    --------
    >>> room = Series("r", "f.csv", "temperature_C", Role.ROOM_TEMP, "", SampleKind.INSTANT, np.arange(3.0),
    ...     np.array([78.9, 79.0, 79.1]), None, 0.0, 60.0)
    >>> fahrenheit_as_celsius(room)
    True
    """
    if series.role not in TOO_HOT:
        return False
    level, (above, low, high) = series.level, TOO_HOT[series.role]
    return level > above and low <= (level - 32.0) / 1.8 <= high


def celsius_as_fahrenheit(series: Series) -> bool:
    """Whether an indoor channel was converted from °F though it was in °C already: far too cold, right if undone."""
    level = series.level if series.role in INDOOR_ROLES else np.nan
    return level < 3.0 and 10.0 <= level * 1.8 + 32.0 <= 45.0


def swapped(warm: Series, cold: Series, unit_power: Series, on_w: float = 100.0) -> tuple[float, float]:
    """How often and by how much a channel that should be the warmer is the colder while the unit runs.

    Parameters
    ----------
    warm, cold
        Return and supply air, or condenser outlet and inlet.
    unit_power
        Its power; five-minute blocks with more than `on_w` count. [W]

    Returns
    -------
    tuple
        Share of those blocks in which `warm` is the colder, and its mean difference to `cold` [K]; NaN when the
        unit never ran while both were logged.
    """
    start = max(s.time_s[0] for s in (warm, cold, unit_power))
    end = min(s.time_s[-1] for s in (warm, cold, unit_power))
    if end - start < 600.0:
        return float("nan"), float("nan")
    edges = np.linspace(start, end, int(np.clip((end - start) / 300.0, 2, 2000)) + 1)
    power = unit_power.pieces.cell_means(edges)
    difference = warm.pieces.cell_means(edges) - cold.pieces.cell_means(edges)
    with np.errstate(invalid="ignore"):
        running = (power > on_w) & np.isfinite(difference)
    if not running.any():
        return float("nan"), float("nan")
    return float(np.mean(difference[running] < 0)), float(np.mean(difference[running]))
