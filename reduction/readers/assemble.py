"""From a grid to a log: each column with unit, kind and its own times, and everything that was guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reduction.errors import Place, UnreadableValue
from reduction.readers.event_log import event_columns, read_events
from reduction.readers.grid import Grid
from reduction.readers.headings import Heading, words_of
from reduction.readers.kinds import guess_kind
from reduction.readers.quantities import Settled, settle_units
from reduction.readers.raw import Raw, Raws
from reduction.readers.refusals import refusal
from reduction.readers.sentinels import without_sentinels
from reduction.readers.side_by_side import tables_of
from reduction.readers.source import Source
from reduction.readers.table import Column, Fault, Guess, Log, Question
from reduction.readers.times import Times, find_times
from reduction.readers.vocabulary import find_unit
from reduction.readers.wide import read_wide
from reduction.session import Profile, Role, SampleKind

_NO_ROLE = Guess("role", Role.IGNORED.value, "no proposal yet", 0.0)
_STATED = "as stated for this file"
_PREVIEW_ROWS, _PREVIEW_COLUMNS = 10, 12


def assemble(grid: Grid, source: Source, profile: Profile, time_zone: str) -> Log:
    """Give a grid its meaning.

    Raises
    ------
    UnreadableTime
        If it has no clock or one that cannot be read in one way only.
    UnreadableFile
        If it has no row or no column of numbers.
    """
    if len(grid) == 0:
        raise refusal(source.name, "headings and no data below them")
    tables = tables_of(grid)
    times = find_times(tables[0], source.name, profile, time_zone)
    raws = _raws(tables[0], source.name, times, profile)
    for table in tables[1:]:
        raws = _both(raws, _raws(table, source.name, find_times(table, source.name, profile, time_zone), profile))
    if not raws.columns:
        raise refusal(source.name, "no column of numbers", remedy="Check the delimiter and the decimal mark.")
    columns, questions, faults = _columns(raws.columns, source.name, profile)
    stamp, stamp_guess, stamp_question = _stamp(grid, profile, columns)
    return Log(
        path=source.name,
        sha256=source.sha256,
        size_bytes=source.size_bytes,
        shape=raws.shape,
        columns=columns,
        profile=_resolved(grid, times, profile, stamp),
        guesses=(*grid.guesses, *times.guesses, *raws.guesses, *stamp_guess),
        questions=(*grid.questions, *questions, *stamp_question),
        faults=(*grid.faults, *times.faults, *raws.faults, *faults),
        preview=_preview(columns),
    )


def _raws(grid: Grid, file: str, times: Times, profile: Profile) -> Raws:
    parts = event_columns(grid, times, profile)
    return read_events(grid, times, parts) if parts else read_wide(grid, times, file)


def _both(one: Raws, other: Raws) -> Raws:
    """Put together what two tables side by side hold."""
    return Raws(
        [*one.columns, *other.columns], (*one.faults, *other.faults), (*one.guesses, *other.guesses),
        "tables side by side",
    )  # fmt: skip


def _columns(
    raws: Sequence[Raw], file: str, profile: Profile
) -> tuple[tuple[Column, ...], list[Question], list[Fault]]:
    """Make codes missing, settle units over all columns together, then kinds."""
    faults: list[Fault] = []
    clean = []
    for raw in raws:
        values, found = without_sentinels(raw.name, raw.heading, raw.values)
        clean.append(replace(raw, values=values, heading=_as_stated(raw, file, profile)))
        faults += found
    settled = settle_units([(r.heading, r.values, r.is_state) for r in clean])
    settled = [_settled(raw.name, unit, profile) for raw, unit in zip(clean, settled, strict=True)]
    columns = []
    for raw, unit in zip(clean, settled, strict=True):
        kind, guess = guess_kind(
            raw.name, raw.heading, (unit.quantity, unit.symbol), raw.time_s, raw.values, raw.reported
        )
        columns.append(Column(raw.name, raw.time_s, raw.values, unit.quantity, unit.symbol, unit.guess, kind, guess,
            Role.IGNORED, _NO_ROLE, raw.heading.is_difference, raw.in_file))  # fmt: skip
    return tuple(columns), [q for unit in settled for q in unit.questions], faults


def _as_stated(raw: Raw, file: str, profile: Profile) -> Heading:
    """Return a column's heading with the unit that a person stated for it.

    Raises
    ------
    UnreadableValue
        If that unit is not known.
    """
    if raw.name not in profile.units:
        return raw.heading
    unit = find_unit(profile.units[raw.name])
    if unit is None:
        raise UnreadableValue(place=Place(file, column=raw.name), found=profile.units[raw.name],
            expected="a unit such as °C, °F, W, kW, kWh or %", remedy="Spell it like one of these.")  # fmt: skip
    return replace(raw.heading, unit=unit, quantity=unit.quantity)


def _settled(name: str, unit: Settled, profile: Profile) -> Settled:
    """Ask of a unit by the column's name, unless a person has stated it."""
    if name in profile.units:
        return replace(unit, guess=Guess("unit", unit.symbol, _STATED, 1.0), questions=())
    return replace(unit, questions=tuple(replace(q, what=f"unit of {name}") for q in unit.questions))


def _stamp(
    grid: Grid, profile: Profile, columns: Sequence[Column]
) -> tuple[str | None, tuple[Guess, ...], tuple[Question, ...]]:
    """Say whether stamps of interval means stand at the start or the end; ask where nothing says it."""
    if profile.stamp:
        return profile.stamp, (Guess("stamp", profile.stamp, _STATED, 1.0),), ()
    if not any(c.kind in {SampleKind.INTERVAL_MEAN, SampleKind.TOTAL} for c in columns):
        return None, (), ()
    words = {w for name in grid.names for w in words_of(name)}
    for word in ("start", "begin", "end"):
        if word in words:
            stamp = "interval_end" if word == "end" else "interval_start"
            return stamp, (Guess("stamp", stamp, f"the time column is called “{word}”", 0.97),), ()
    question = Question("stamp", ("interval_end", "interval_start"),
        "means over intervals, and nothing says whether the stamp is the start or the end of each")  # fmt: skip
    because = "most loggers stamp the end of an interval"
    return "interval_end", (Guess("stamp", "interval_end", because, 0.6),), (question,)


def _resolved(grid: Grid, times: Times, profile: Profile, stamp: str | None) -> Profile:
    """Return the profile with everything filled in that was detected, so that it reads the next file alike."""
    one_column = grid.names[times.columns[0]] if len(times.columns) == 1 else None
    found = {
        "delimiter": grid.delimiter,
        "decimal": grid.decimal if grid.delimiter else None,
        "time_zone": times.zone,
        "date_order": times.order,
        "time_column": one_column,
        "stamp": stamp,
        "sheet": grid.sheet,
    }
    return profile.model_copy(update={k: v for k, v in found.items() if getattr(profile, k) is None})


def _preview(columns: Sequence[Column]) -> tuple[tuple[str, ...], ...]:
    """Ten rows as understood: headings, then instants in UTC and values in their units."""
    shown = columns[:_PREVIEW_COLUMNS]
    heading = ("time (UTC)", *(f"{c.name} [{c.quantity_unit or '?'}]" for c in shown))
    instants = sorted({float(t) for c in shown for t in c.time_s[:_PREVIEW_ROWS]})[:_PREVIEW_ROWS]
    return (heading, *((_utc(t), *(_cell(c, t) for c in shown)) for t in instants))


def _utc(time_s: float) -> str:
    return str(np.datetime64(round(time_s * 1000), "ms")).replace(".000", "") + "Z"


def _cell(column: Column, time_s: float) -> str:
    row = int(np.searchsorted(column.time_s[:_PREVIEW_ROWS], time_s))
    if row >= len(column.time_s) or column.time_s[row] != time_s:
        return ""
    return "missing" if np.isnan(column.values[row]) else f"{column.values[row]:.10g}"
