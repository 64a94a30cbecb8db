"""Sensors hung together in still air of one temperature: how far each reads from all, with its uncertainty."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.align.series import Series
from reduction.align.timeline import Timeline
from reduction.errors import NothingToReduce, Place
from reduction.session import Distribution, Instrument, Role
from reduction.uncertainty.repeatability import mean_of, slope_of

FloatArray = NDArray[np.float64]

HOUR_S = 3600.0
SHORTEST_S = 1800.0  # common practice, no source: long enough for slow housings to settle
STEEPEST_K_PER_H = 1.0  # beyond it the lag of each housing shows as an offset; common practice, no source
LEAST_KNOWN = 0.9  # of the span, by each sensor
FARTHEST_APART_K = 3.0  # between two sensors in one bundle: beyond it they hung apart; common practice, no source
PLACE_U_K = 0.05  # between places of one bundle in stirred air, common practice, no source
UNIT_OFF_W = 30.0  # standby and a control board; more than that may cool
TEMPERATURES = frozenset(role for role in Role if role.value.endswith("_temp"))


@dataclass(frozen=True)
class Offset:
    """One sensor's reading less the reference, with standard uncertainty [K]; `remark` is empty where all is well."""

    key: str
    column: str
    instrument: Instrument | None
    mean_c: float
    offset_k: float
    u_k: float
    remark: str
    shared: bool = False  # another column names the same instrument, so neither offset is its own

    @property
    def u95_k(self) -> float:
        """Expanded uncertainty, k = 2. [K]"""
        return 2.0 * self.u_k


@dataclass(frozen=True)
class Colocation:
    """The check over one span: its sensors against `reference`, the drift [K/h] and the u that all share [K]."""

    start_s: float
    end_s: float
    reference: str
    slope_k_per_h: float
    common_u_k: float
    offsets: tuple[Offset, ...]


def co_locate(
    timeline: Timeline,
    start_s: float,
    end_s: float,
    reference: str | None = None,
    known: Mapping[str, Instrument] | None = None,
) -> Colocation:
    """Return the offset of every temperature sensor from a reference sensor or from the mean of all.

    Parameters
    ----------
    timeline
        Readings without any correction of offset, one cell after the other.
    start_s, end_s
        Span in which all hung together, Unix time. [s]
    reference
        Key of the series that is known better than the others; none: the mean of all.
    known
        Instruments as calibrated until now, by id: what the reference may be wrong by. The readings carry the maker's.

    Raises
    ------
    NothingToReduce
        If the span is short, the unit ran, fewer than two sensors read, they hung apart, or the air drifted.

    Notes
    -----
    u² = scatter of the mean difference² + place² + resolution²/12 + (slope · time constant)²/3 + common². The common
    part is what the reference itself may be wrong by: its own u, or the limits of the N sensors over √N.

    References
    ----------
    JCGM 100:2008, 4.3.7 for limits, F.2.2.1 for resolution, 5.1.2 for the sum.
    """
    sensors, time, readings = _readings(timeline, start_s, end_s)
    slope = slope_of(time, readings.mean(axis=0))[0] * HOUR_S
    if abs(slope) > STEEPEST_K_PER_H:
        raise _nothing(
            f"air that drifts by {slope:+.1f} K/h",
            f"at most {STEEPEST_K_PER_H:g} K/h",
            "Choose a calmer span, or let the room soak with everything off.",
        )
    _refuse_what_hung_apart(sensors, readings.mean(axis=1))
    keys = [series.key for series in sensors]
    if reference is not None and reference not in keys:
        raise _nothing("no reading of the reference sensor", "its log in this span", "Choose another reference.")
    held = None if reference is None else keys.index(reference)
    truth, common = _reference(readings, sensors, held, known or {})
    offsets = [
        _offset(series, row, truth, slope, common)
        for n, (series, row) in enumerate(zip(sensors, readings, strict=True))
        if n != held
    ]
    name = f"the mean of {len(keys)} sensors" if held is None else sensors[held].column
    return Colocation(float(start_s), float(end_s), name, slope, common, _shared(offsets))


def _readings(timeline: Timeline, start_s: float, end_s: float) -> tuple[list[Series], FloatArray, FloatArray]:
    """Sensors that logged the span, instants at which all did, shape (n,), readings there, shape (sensors, n)."""
    inside = (timeline.grid_s >= start_s) & (timeline.grid_s + timeline.step_s <= end_s)
    sensors = (
        [
            series
            for series in timeline.series.values()
            if series.role in TEMPERATURES and np.isfinite(timeline.cells[series.key][inside]).mean() > LEAST_KNOWN
        ]
        if inside.any()
        else []
    )
    _refuse(timeline, inside, len(sensors), end_s - start_s)
    cells = np.array([timeline.cells[series.key][inside] for series in sensors])
    complete = np.isfinite(cells).all(axis=0)
    if np.count_nonzero(complete) * timeline.step_s < LEAST_KNOWN * SHORTEST_S:
        raise _nothing("gaps in the sensors", "half an hour that all of them logged", "Choose another span.")
    return sensors, timeline.grid_s[inside][complete], cells[:, complete]


def _shared(offsets: list[Offset]) -> tuple[Offset, ...]:
    """Mark offsets whose instrument another column names too."""
    often = Counter(each.instrument.id for each in offsets if each.instrument)
    remark = "shares its instrument with another column: give each its own"
    return tuple(
        replace(each, shared=True, remark=remark) if each.instrument and often[each.instrument.id] > 1 else each
        for each in offsets
    )


def _offset(series: Series, row: FloatArray, truth: FloatArray, slope: float, common: float) -> Offset:
    instrument = series.instrument or Instrument(id=series.column)
    difference = mean_of(row - truth)
    lag_k = abs(slope) / HOUR_S * instrument.time_constant_s
    u = sqrt(difference.u**2 + PLACE_U_K**2 + instrument.resolution**2 / 12.0 + lag_k**2 / 3.0 + common**2)
    limit = instrument.offset_limit
    beyond = limit and abs(difference.value) > limit + 2.0 * u
    return Offset(
        key=series.key,
        column=series.column,
        instrument=series.instrument,
        mean_c=float(row.mean()),
        offset_k=difference.value,
        u_k=u,
        remark=f"beyond its maker's ±{limit:g} K: look at the sensor before you correct it" if beyond else "",
    )


def _reference(
    readings: FloatArray, sensors: list[Series], held: int | None, known: Mapping[str, Instrument]
) -> tuple[FloatArray, float]:
    """The reference over time [°C], corrected by its own calibration, and what it may be wrong by [K]."""
    if held is None:
        return readings.mean(axis=0), _common_u_k([series.instrument for series in sensors])
    instrument = sensors[held].instrument
    if instrument is None:
        return readings[held], _common_u_k([None])
    instrument = known.get(instrument.id, instrument)
    return (readings[held] - instrument.offset_correction) / instrument.gain_correction, _common_u_k([instrument])


def _common_u_k(instruments: list[Instrument | None]) -> float:
    """What the reference may be wrong by as a whole: independent sensors average out, √N. [K]"""
    own = [_own_u_k(each or Instrument(id="")) for each in instruments]
    return sqrt(sum(u**2 for u in own)) / len(own)


def _own_u_k(instrument: Instrument) -> float:
    if instrument.offset_correction_u is not None:
        return instrument.offset_correction_u
    divisor = {Distribution.RECTANGULAR: sqrt(3.0), Distribution.TRIANGULAR: sqrt(6.0)}.get(
        instrument.distribution, 1.96
    )
    return instrument.offset_limit / divisor


def _refuse(timeline: Timeline, inside: NDArray[np.bool_], sensors: int, length_s: float) -> None:
    if length_s < SHORTEST_S:
        raise _nothing(f"{length_s / 60:.0f} min", f"at least {SHORTEST_S / 60:.0f} min", "Choose a longer span.")
    if sensors < 2:
        raise _nothing(f"{sensors} temperature sensors", "two or more that hung together", "Choose another span.")
    for series in timeline.of(Role.UNIT_POWER):
        watts = timeline.cells[series.key][inside]
        if np.any(watts > UNIT_OFF_W):
            raise _nothing(
                f"a unit that draws {np.nanmax(watts):.0f} W",
                "the unit off",
                "Co-locate with the unit off: its air is warmer in one place than in another.",
            )


def _refuse_what_hung_apart(sensors: list[Series], means_c: FloatArray) -> None:
    low, high = int(means_c.argmin()), int(means_c.argmax())
    if means_c[high] - means_c[low] > FARTHEST_APART_K:
        raise _nothing(
            f"{sensors[high].column} {means_c[high] - means_c[low]:.1f} K above {sensors[low].column}",
            f"sensors of one bundle, within {FARTHEST_APART_K:g} K",
            "Tie them together; set a sensor that hung elsewhere, or is broken, to “ignored” under Channels.",
        )


def _nothing(found: str, expected: str, remedy: str) -> NothingToReduce:
    return NothingToReduce(place=Place("co-location"), found=found, expected=expected, remedy=remedy)
