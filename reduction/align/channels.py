"""From columns as read to series in SI: roles, units, calibration and clock corrections, each one said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from reduction.align.clock import corrected
from reduction.align.columns import column_of, empty, joined, one_column
from reduction.align.counters import Counter, counter_of
from reduction.align.courses import silence_limit_s, typical_interval_s
from reduction.align.series import ENERGY_ROLES, POWER_ROLES, Series
from reduction.errors import InvalidSession, Place
from reduction.readers.headings import UNIT_IN_CELLS
from reduction.readers.table import Column, Log
from reduction.readers.vocabulary import to_si
from reduction.session import (
    Channel,
    ChannelRead,
    ClockCorrection,
    Finding,
    Instrument,
    Role,
    SampleKind,
    Session,
    Severity,
)

FloatArray = NDArray[np.float64]

_GRAVE = {"half_day_lost": Severity.SEVERE, "date_from_name": Severity.WARNING}
"""Faults of a log that say its times are wrong or taken from elsewhere; all others were mended."""
WATER_KG_PER_M3 = 998.0  # at 20 °C; good to 0.3 % over 5…30 °C, from memory

QUANTITY_OF_ROLE = (
    dict.fromkeys(POWER_ROLES, ("power", "energy"))
    | dict.fromkeys(ENERGY_ROLES, ("energy", "power"))
    | {role: ("temperature",) for role in Role if role.value.endswith(("_temp", "_wet_bulb"))}
    | {role: ("humidity",) for role in Role if role.value.endswith("_rh")}
    | dict.fromkeys((Role.CONDENSATE_MASS, Role.WATER_SUPPLY_MASS), ("mass", "volume"))
)
SI_OF_QUANTITY = {
    "temperature": ("°C", "K"), "power": ("W",), "energy": ("J",),
    "humidity": ("%",), "mass": ("kg",), "volume": ("m³",),
}  # fmt: skip


def series_of(
    session: Session, logs: tuple[Log, ...]
) -> tuple[tuple[Series, ...], tuple[ChannelRead, ...], tuple[Finding, ...]]:
    """Make the session's channels series in SI on the true clock.

    Parameters
    ----------
    session
        Its `channels` say which columns are used; none at all means the reader's own proposals, which is said.
    logs
        The session's files as read, found by their path.

    Returns
    -------
    tuple
        The series in the order of the channels; how each was read; findings from reading.

    Raises
    ------
    InvalidSession
        If a channel names a file, column or instrument that is not there, or a unit its role cannot have.
    """
    by_path = {log.path: log for log in logs}
    settled = {(c.file, f"unit of {c.column}") for c in session.channels if c.quantity_unit or c.role == Role.IGNORED}
    if not session.channels:
        settled = {(log.path, f"unit of {c.name}") for log in logs for c in log.columns if c.role == Role.IGNORED}
    findings = [finding for log in logs for finding in _said_by_reader(log, settled)]
    chosen: list[tuple[Log, Column, Channel]] = []
    if session.channels:
        nothing = {id(channel): found for channel in session.channels if (found := empty(by_path, channel))}
        findings += nothing.values()
        chosen = [(*column_of(by_path, each), each) for each in session.channels if id(each) not in nothing]
    else:
        chosen = [(log, column, _proposed(log, column)) for log in logs for column in log.columns]
        findings += _guessed(chosen)
    chosen = [each for each in chosen if each[2].role != Role.IGNORED]
    clocks = {file.path: file.clock for file in session.files}
    groups, together = joined(chosen, clocks)
    instruments = {instrument.id: instrument for instrument in session.instruments}
    series = tuple(_series(session, g[0][0], one_column(g), g[0][2], clocks, instruments) for g in groups)
    reads = tuple(
        _read(column, channel, bool(session.channels), s.time_s if len(group) == 1 else column.time_s)
        for group, s in zip(groups, series, strict=True)
        for _, column, channel in group
    )
    return series, reads, (*findings, *together, *_overdue(series))


def _proposed(log: Log, column: Column) -> Channel:
    place = column.name if column.role in (Role.ADJACENT_TEMP, Role.ADJACENT_RH) else ""
    return Channel(file=log.path, column=column.name, role=column.role, place=place)


def _guessed(chosen: list[tuple[Log, Column, Channel]]) -> list[Finding]:
    guesses = [column.role_guess for _, column, channel in chosen if channel.role != Role.IGNORED]
    if not guesses:
        return []
    unsure = min(guesses, key=lambda guess: guess.sure)
    return [
        Finding(
            code="roles_guessed",
            severity=Severity.WARNING,
            sentence=f"The session names no channels, so the roles of {len(guesses)} columns are the reader's "
            f"proposals; the least sure is {unsure.what} as {unsure.value} ({unsure.sure:.0%}): {unsure.because}.",
            remedy="Confirm the roles, or state the channels in the session.",
        )
    ]


def _said_by_reader(log: Log, settled: set[tuple[str, str]]) -> list[Finding]:
    faults = [
        Finding(
            code=fault.code,
            severity=_GRAVE.get(fault.code, Severity.NOTE),
            sentence=fault.sentence,
            subject=log.path,
        )
        for fault in log.faults
    ]
    questions = [
        Finding(
            code="question_open",
            severity=Severity.WARNING,
            sentence=f"{log.path} leaves {question.what} open ({' or '.join(question.options)}): {question.because}.",
            subject=log.path,
            remedy="Answer it in the file's profile.",
        )
        for question in log.questions
        if (log.path, question.what) not in settled
    ]
    return faults + questions


def _series(
    session: Session,
    log: Log,
    column: Column,
    channel: Channel,
    clocks: dict[str, ClockCorrection],
    instruments: dict[str, Instrument],
) -> Series:
    instrument = _instrument(channel, instruments)
    kind = channel.kind or column.kind
    values = _calibrated(_in_si(log, column, channel), instrument, kind)
    stamped = _Stamped(corrected(column.time_s, clocks.get(log.path, ClockCorrection())), values, kind)
    if channel.role in POWER_ROLES | ENERGY_ROLES or kind == SampleKind.INTERVAL_MEAN:
        stamped = _by_kind(stamped, log, log.profile.time_zone or session.time_zone)
    limit_s = silence_limit_s(stamped.time_s, stamped.kind, session.settings.stale_after_s)
    return Series(
        key=f"{log.path}:{column.name}",
        file=log.path,
        column=column.name,
        role=channel.role,
        place=channel.place,
        kind=stamped.kind,
        time_s=stamped.time_s,
        values=stamped.values,
        instrument=instrument,
        placement_u=channel.placement_u_c,
        stale_after_s=channel.stale_after_s or limit_s,
        counter=stamped.counter,
    )


@dataclass(frozen=True, eq=False)
class _Stamped:
    """Values with the times they belong to and what they stand for there."""

    time_s: FloatArray
    values: FloatArray
    kind: SampleKind
    counter: Counter | None = None


def _by_kind(each: _Stamped, log: Log, zone: str) -> _Stamped:
    """Means and totals at the end of their interval, totals as mean power, counters made whole."""
    if each.kind == SampleKind.COUNTER:
        known = np.isfinite(each.values)
        counter = counter_of(each.time_s[known], each.values[known], _midnight_offset_s(each.time_s, zone))
        energy = np.concatenate([[0.0], np.cumsum(counter.energy)])[: len(counter.time_s)]
        return _Stamped(counter.time_s, energy, each.kind, counter)
    if each.kind not in (SampleKind.INTERVAL_MEAN, SampleKind.TOTAL):
        return each
    end_s = _interval_ends(each.time_s) if log.profile.stamp == "interval_start" else each.time_s
    values = each.values / _lengths_s(end_s) if each.kind == SampleKind.TOTAL else each.values
    return _Stamped(end_s, values, SampleKind.INTERVAL_MEAN)


def _instrument(channel: Channel, instruments: dict[str, Instrument]) -> Instrument | None:
    if channel.instrument is None:
        return None
    if channel.instrument not in instruments:
        raise InvalidSession(
            place=Place("channels", column=channel.column), found=channel.instrument,
            expected="the id of an instrument of this session",
            remedy=f"Instruments: {', '.join(instruments) or 'none'}.",
        )  # fmt: skip
    return instruments[channel.instrument]


def _in_si(log: Log, column: Column, channel: Channel) -> FloatArray:
    in_cells = column.unit_guess.because.endswith(UNIT_IN_CELLS)  # each cell was read in its own unit already
    unit = column.quantity_unit if in_cells else channel.quantity_unit or column.quantity_unit
    values, si = to_si(column.values, unit, channel.is_difference or column.is_difference)
    allowed = QUANTITY_OF_ROLE.get(channel.role)
    if allowed and si and si not in [symbol for quantity in allowed for symbol in SI_OF_QUANTITY[quantity]]:
        raise InvalidSession(
            place=Place(log.path, column=column.name), found=f"{unit} for the role {channel.role.value}",
            expected=f"a unit of {' or '.join(allowed)}", remedy="Correct the role or the unit of this channel.",
        )  # fmt: skip
    return values * WATER_KG_PER_M3 if si == "m³" and allowed and "mass" in allowed else values


def _calibrated(values: FloatArray, instrument: Instrument | None, kind: SampleKind) -> FloatArray:
    """Readings less the known offset, divided by the known gain; a counter's offset means nothing."""
    if instrument is None:
        return values
    offset = 0.0 if kind in (SampleKind.COUNTER, SampleKind.TOTAL) else instrument.offset_correction
    if offset == 0.0 and instrument.gain_correction == 1.0:
        return values
    return (values - offset) / instrument.gain_correction


def _lengths_s(end_s: FloatArray) -> FloatArray:
    """Lengths of the intervals that end at each stamp; the usual one after a silence. [s]"""
    usual = typical_interval_s(end_s)
    length = np.diff(end_s, prepend=end_s[0] - usual)
    return np.where(length > 1.5 * usual, usual, length)


def _interval_ends(start_s: FloatArray) -> FloatArray:
    usual = typical_interval_s(start_s)
    length = np.diff(start_s, append=start_s[-1] + usual)
    return start_s + np.where(length > 1.5 * usual, usual, length)


def _midnight_offset_s(time_s: FloatArray, zone: str) -> float | None:
    if not len(time_s):
        return None
    try:
        offset = datetime.fromtimestamp(float(time_s[-1]), UTC).astimezone(ZoneInfo(zone)).utcoffset()
    except (KeyError, ValueError):
        return None
    return (offset or timedelta()).total_seconds()


def _read(column: Column, channel: Channel, confirmed: bool, time_s: FloatArray) -> ChannelRead:
    first, last = (time_s[0], time_s[-1]) if len(time_s) else (None, None)
    return ChannelRead(
        file=channel.file,
        column=column.name,
        role=channel.role,
        quantity_unit=channel.quantity_unit or column.quantity_unit,
        kind=channel.kind or column.kind,
        guessed=not confirmed,
        because="stated in the session" if confirmed else column.role_guess.because,
        sure=1.0 if confirmed else column.role_guess.sure,
        samples=int(np.count_nonzero(np.isfinite(column.values))),
        first=None if first is None else datetime.fromtimestamp(float(first), UTC),
        last=None if last is None else datetime.fromtimestamp(float(last), UTC),
    )


def _overdue(series: tuple[Series, ...]) -> list[Finding]:
    findings = []
    for each in {s.instrument.id: s for s in series if s.instrument and len(s.time_s)}.values():
        instrument = each.instrument
        tested = datetime.fromtimestamp(float(each.time_s[0]), UTC).date()
        if instrument and instrument.calibration_due and instrument.calibration_due < tested:
            findings.append(
                Finding(
                    code="calibration_overdue",
                    severity=Severity.WARNING,
                    sentence=f"The calibration of {instrument.id} was due on {instrument.calibration_due:%Y-%m-%d}, "
                    f"before this test of {tested:%Y-%m-%d}.",
                    subject=each.key,
                    remedy="Check it beside a sound instrument and enter the date and the offset found.",
                )
            )
    return findings
