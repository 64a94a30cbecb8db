"""What a channel says over a window, entered in the ledger with the errors of its instrument and its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import GroupMean, MeanOver, Series, group_mean, mean_over
from reduction.session import Distribution, Instrument, Measured, Role
from reduction.uncertainty.flatness import Shape
from reduction.uncertainty.ledger import Ledger, Quantity
from reduction.uncertainty.propagation import Input

FloatArray = NDArray[np.float64]

NOT_STATED = {
    "power": Instrument(id="", quantity="power", gain_limit=0.03, offset_limit=2.0, resolution=1.0),
    "energy": Instrument(id="", quantity="energy", gain_limit=0.03, resolution=36e3),
    "temperature": Instrument(id="", quantity="temperature", offset_limit=0.5, resolution=0.1),
    "humidity": Instrument(id="", quantity="humidity", offset_limit=4.0, resolution=1.0),
    "mass": Instrument(id="", quantity="mass", gain_limit=0.01, offset_limit=0.005, resolution=0.001),
}
"""Limits taken for a channel without an instrument: usual consumer grade, common practice, no source."""

UNEVEN = 4.0
"""Ratio of observed to expected variance between sensors above which the room counts as uneven (5 % for 2–4)."""

QUANTITIES = {Role.ROOM_RH: "humidity", Role.CONDENSATE_MASS: "mass", Role.WATER_SUPPLY_MASS: "mass"}


@dataclass(frozen=True)
class Spread:
    """Standard uncertainty of a limit and the distribution it stands for."""

    u: float
    shape: Shape


@dataclass(frozen=True)
class Temperature:
    """The mean temperature of a place: a quantity of the ledger and its plain value with u."""

    quantity: Quantity
    measured: Measured
    mean: GroupMean


def from_limit(limit: float, distribution: Distribution) -> Spread:
    """Standard uncertainty of a half-width.

    References
    ----------
    JCGM 100:2008, 4.3.7 (rectangular, /√3), 4.3.9 (triangular, /√6), 4.3.4 (a stated 95 % interval, /2).

    Examples
    --------
    >>> round(from_limit(0.15, Distribution.RECTANGULAR).u, 4)
    0.0866
    """
    if distribution is Distribution.TRIANGULAR:
        return Spread(limit / sqrt(6.0), "triangular")
    if distribution is Distribution.NORMAL_95:
        return Spread(limit / 2.0, "normal")
    return Spread(limit / sqrt(3.0), "rectangular")


def instrument_of(series: Series, quantity: str) -> Instrument:
    """Return the channel's instrument, or the limits taken where none is stated."""
    return series.instrument or NOT_STATED[quantity]


def error_key(series: Series, group: Sequence[Series] = ()) -> str:
    """Key of a channel's instrument error: the instrument, with the column where it has several probes.

    A meter moved between sockets stays one meter; two columns of one logger in one group are two probes.
    """
    if series.instrument is None:
        return f"channel:{series.file}:{series.column}"
    twins = [s for s in group if s.instrument is not None and s.instrument.id == series.instrument.id]
    return f"instrument:{series.instrument.id}" + (f":{series.column}" if len(twins) > 1 else "")


def _offset(instrument: Instrument) -> Spread:
    if instrument.offset_correction_u is not None:
        return Spread(instrument.offset_correction_u, "normal")
    return from_limit(instrument.offset_limit, instrument.distribution)


def _gain(instrument: Instrument) -> Spread:
    if instrument.gain_correction_u is not None:
        return Spread(instrument.gain_correction_u, "normal")
    return from_limit(instrument.gain_limit, instrument.distribution)


def power_reading_u(series: Series, mean: MeanOver, window_s: float) -> float:
    """Standard uncertainty of a mean power before its meter's gain and offset. [W]

    A register's two readings are each uncertain by its step, which together is triangular: step/√6. A display's
    step is taken as fixed for the window, step/√12, for a steady load does not dither it.
    """
    instrument = instrument_of(series, "energy" if series.counter is not None else "power")
    if series.counter is not None:
        register = instrument.resolution if instrument.quantity == "energy" else 0.0
        step = max(series.counter.step, register) / sqrt(6.0) / window_s
    else:
        step = instrument.resolution / sqrt(12.0) if instrument.quantity != "energy" else 0.0
    return float(np.sqrt(step**2 + mean.u_sampling**2 + mean.u_gap**2))


def enter_power(ledger: Ledger, series: Series, start_s: float, end_s: float) -> Quantity:
    """Enter a power or energy channel: its mean reading, its meter's offset and its meter's gain.

    Returns
    -------
    Quantity
        (reading − offset) / gain. [W]

    References
    ----------
    JCGM 100:2008, 4.3.7 and F.2.2.1 for the step of a display.
    """
    mean = mean_over(series, start_s, end_s)
    instrument = instrument_of(series, "energy" if series.counter is not None else "power")
    key = error_key(series)
    what = instrument.id or "a meter of unknown limits"
    reading = ledger.enter(
        Input(
            f"{series.name}: reading",
            mean.value,
            power_reading_u(series, mean, end_s - start_s),
            "W",
            source="step of the display or register, sampling, gaps",
        )
    )
    gain, offset = _gain(instrument), _offset(instrument)
    gain_q = ledger.enter(
        Input(f"gain of {what} ({series.name})" if not instrument.id else f"gain of {what}", 1.0, gain.u, "W/W",
              shared_key=f"{key}:gain", source=_limits(instrument, "W"), shape=gain.shape)
    )  # fmt: skip
    if series.counter is not None or instrument.quantity == "energy":
        return lambda x: reading(x) / gain_q(x)
    offset_q = ledger.enter(
        Input(f"offset of {what}" if instrument.id else f"offset of {what} ({series.name})", 0.0, offset.u, "W",
              shared_key=f"{key}:offset", source=_limits(instrument, "W"), shape=offset.shape)
    )  # fmt: skip
    return lambda x: (reading(x) - offset_q(x)) / gain_q(x)


def enter_temperature(
    ledger: Ledger, name: str, group: Sequence[Series], start_s: float, end_s: float, *, room: str = ""
) -> Temperature:
    """Enter the mean of one or several sensors at one place.

    Each sensor brings the error of its instrument (offset and gain at this temperature, one error) and of its
    place; independent parts average out over several. Sensors further apart than that explains make the place
    uneven, which costs a type A part.

    Returns
    -------
    Temperature
        Readings less errors, averaged. [°C]

    References
    ----------
    JCGM 100:2008, 4.2.3 and 4.3.7; the test for unevenness is a ratio of variances (Birge), common practice.
    """
    mean = group_mean(tuple(group), start_s, end_s)
    known = [s for s in group if s.key in mean.keys]
    n = max(1, len(known))
    sensors = [_enter_sensor(ledger, *each, group, room) for each in zip(known, mean.members, strict=True)]
    errors, variances = [error for error, _ in sensors], [variance for _, variance in sensors]
    step = sqrt(sum(instrument_of(s, "temperature").resolution ** 2 / 12.0 for s in known)) / n
    reading_u = hypot(step, mean.u_gap)
    reading = ledger.enter(Input(f"{name}: readings", mean.value, reading_u, "°C", source="resolution, gaps"))
    uneven = _unevenness(mean, variances)
    if uneven > 0.0:
        spread = Input(
            f"{name}: uneven", 0.0, uneven * n, "K", dof=float(n - 1), evaluation="A",
            source=f"spread of {n} sensors beyond what their limits explain",
        )  # fmt: skip
        errors.append(ledger.enter(spread))
    u = sqrt(sum(variances) / n**2 + reading_u**2 + uneven**2)
    return Temperature(
        lambda x: np.asarray(reading(x) - sum(error(x) for error in errors) / n),
        Measured(value=mean.value if isfinite(mean.value) else 0.0, u=u),
        mean,
    )


def _enter_sensor(
    ledger: Ledger, series: Series, member: MeanOver, group: Sequence[Series], room: str
) -> tuple[Quantity, float]:
    """Enter one sensor's error and its place's; return their sum and its variance. [K, K²]"""
    error_u, place_u = _sensor_u(series, member)
    error = ledger.enter(
        Input(f"{series.name}: sensor", 0.0, error_u, "K", shared_key=error_key(series, group),
              source=_limits(instrument_of(series, "temperature"), "K"))
    )  # fmt: skip
    if place_u == 0.0:
        return error, error_u**2
    place = ledger.enter(
        Input(f"{series.name}: place", 0.0, place_u, "K", shared_key=f"place:{room}:{series.place}:{series.column}",
              source="what the place stands for, as the tester states it")
    )  # fmt: skip
    return (lambda x: error(x) + place(x)), error_u**2 + place_u**2


def _sensor_u(series: Series, member: MeanOver) -> tuple[float, float]:
    instrument = instrument_of(series, "temperature")
    return hypot(_offset(instrument).u, _gain(instrument).u * member.value), series.placement_u


def _unevenness(mean: GroupMean, variances: Sequence[float]) -> float:
    n = len(mean.members)
    if n < 2:
        return 0.0
    expected = sum(variances) / n
    if mean.spread**2 <= UNEVEN * expected:
        return 0.0
    return sqrt((mean.spread**2 - expected) / n)


def _limits(instrument: Instrument, quantity_unit: str) -> str:
    if not instrument.id:
        return "no instrument stated: usual consumer grade assumed"
    calibrated = f", calibrated {instrument.calibrated_on}" if instrument.calibrated_on else ""
    return (
        f"{instrument.model or instrument.id}: ±{instrument.offset_limit:g} {quantity_unit}, "
        f"±{100 * instrument.gain_limit:g} % of reading, {instrument.distribution.value.replace('_', ' ')}{calibrated}"
    )


def sensor_mean(group: Sequence[Series], quantity: str, start_s: float, end_s: float) -> Measured:
    """Mean of sensors at one place with the u of their limits and places, independent parts averaged."""
    mean = group_mean(tuple(group), start_s, end_s)
    variance = 0.0
    for series in group:
        limits = instrument_of(series, quantity)
        parts = (_offset(limits).u, _gain(limits).u * mean.value, limits.resolution / sqrt(12.0), series.placement_u)
        variance += sum(part**2 for part in parts)
    return Measured(value=mean.value, u=sqrt(variance) / len(group))


def mean_value(series: Series, start_s: float, end_s: float) -> float | None:
    """Mean of one channel over the window, or None where nothing is known."""
    value = mean_over(series, start_s, end_s).value
    return value if isfinite(value) else None
