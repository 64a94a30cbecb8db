"""Which column plays which part in the test: proposed from words, levels and behaviour, each with its evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reduction.readers.behaviour import Course, courses, drawing_power, median_where, switching
from reduction.readers.beside import set_aside
from reduction.readers.headings import words_of
from reduction.readers.nameless import CYCLES, by_behaviour
from reduction.readers.place_words import role_by_words
from reduction.readers.table import Column, Guess, Log, Question
from reduction.session import Role

Key = tuple[str, str]
_SWAPPED_K = 1.0  # by which one side must be warmer before the words are doubted; common practice, no source
_DOUBTED, _SURELY = 0.3, 0.8
_BARE_SIDE = 0.6  # how sure a mere `in` or `out` of the unit is
_MEANT_BESIDE = {Role.SUPPLY_TEMP.value: Role.OUTDOOR_TEMP, Role.RETURN_TEMP.value: Role.ROOM_TEMP}
_OFF_W = 12.0  # standby of a metered plug and its load; common practice, no source


def propose_roles(logs: Sequence[Log]) -> dict[Key, Guess]:
    """Propose the role of every column of a session, looking at all files together.

    Parameters
    ----------
    logs
        The session's files as read.

    Returns
    -------
    dict
        (file, column) to a guess: role, a sentence of evidence with numbers, and how sure it is (0 to 1).
    """
    keyed = [((log.path, column.name), column) for log in logs for column in log.columns]
    words = {key: guess for key, column in keyed if (guess := _by_words(column))}
    words |= _bare_sides(words, dict(keyed))
    words |= {(log.path, c.name): _ignored(c, why, 0.9) for log in logs for c, why in set_aside(log)}
    seen = courses(keyed)
    proposed = by_behaviour(seen, words)
    proposed |= _doubts(seen, proposed)
    nothing = "no word and no behaviour tells what it is"
    return {key: proposed.get(key) or _ignored(column, nothing, 0.3) for key, column in keyed}


def with_roles(logs: Sequence[Log]) -> tuple[Log, ...]:
    """Return the logs with the roles that all of them together suggest, and no question of what plays no part."""
    proposed = propose_roles(logs)

    def named(log: Log, column: Column) -> Column:
        guess = proposed[log.path, column.name]
        return replace(column, role=Role(guess.value), role_guess=guess)

    def asked(log: Log) -> tuple[Question, ...]:
        idle = {f"unit of {c.name}" for c in log.columns if _plays_no_part(proposed[log.path, c.name])}
        return tuple(question for question in log.questions if question.what not in idle)

    return tuple(replace(log, columns=tuple(named(log, c) for c in log.columns), questions=asked(log)) for log in logs)


def _plays_no_part(guess: Guess) -> bool:
    return guess.value == Role.IGNORED and guess.sure >= _SURELY


def _by_words(column: Column) -> Guess | None:
    """Propose what the heading's words name, with the level or the switching beside it."""
    if column.is_difference:
        return _ignored(column, "a difference of two temperatures", 0.8)
    named = role_by_words(words_of(column.name), column.quantity)
    if named is None:
        return None
    role, word, sure = named
    if column.quantity == "power":
        role, seen, sure = _power(column, role, sure)
    else:
        seen = _level(column)
    return Guess("role", role.value, f"heading “{column.name}” says “{word}”; {seen}", sure)


def _power(column: Column, role: Role, sure: float) -> tuple[Role, str, float]:
    """Describe a power by its switching; that tells a heater on a thermostat from one that runs on."""
    s = switching(column)
    if s.changes >= CYCLES:
        seen = f"it switches {s.changes} times between {s.low_w:,.0f} and {s.level_w:,.0f} W"
    elif s.changes:
        seen = f"it changes {s.changes} time(s), {s.level_w:,.0f} W while on"
    elif s.level_w < _OFF_W:
        seen = f"it never draws more than {s.level_w:.0f} W"
    else:
        seen = f"it draws {s.level_w:,.0f} W (± {100 * s.spread:.1f} %) without a break"
    if role is not Role.HEATER_CONSTANT_POWER or sure > 0.9:
        return role, seen, sure
    if s.changes >= CYCLES:
        return Role.HEATER_CYCLING_POWER, seen, 0.93
    return role, seen, 0.93 if s.changes == 0 else 0.7


def _level(column: Column) -> str:
    known = column.values[np.isfinite(column.values)]
    if not len(known):
        return "no reading"
    return f"{known.min():.4g} to {known.max():.4g} {column.quantity_unit}".strip()


def _bare_sides(words: dict[Key, Guess], columns: dict[Key, Column]) -> dict[Key, Guess]:
    """Read a mere `out` beside a named supply as outdoors and a mere `in` beside a named return as the room."""
    surely = {guess.value for guess in words.values() if guess.sure > _BARE_SIDE}
    read: dict[Key, Guess] = {}
    for key, guess in words.items():
        meant = _MEANT_BESIDE.get(guess.value) if guess.sure <= _BARE_SIDE and guess.value in surely else None
        if meant is not None:
            because = f"“{columns[key].name}” beside a column that is surely {guess.value}; {_level(columns[key])}"
            read[key] = Guess("role", meant.value, because, 0.7 if meant.value not in surely else 0.4)
    return read


def _ignored(column: Column, why: str, sure: float) -> Guess:
    return Guess("role", Role.IGNORED.value, f"“{column.name}” ({_level(column)}): {why}", sure)


def _doubts(seen: Sequence[Course], proposed: dict[Key, Guess]) -> dict[Key, Guess]:
    """Lower the certainty of proposals that the behaviour speaks against, and say so."""

    def of(*roles: Role) -> list[Course]:
        return [c for c in seen if c.key in proposed and proposed[c.key].value in roles]

    unit_on = drawing_power(of(Role.UNIT_POWER))
    pairs = (
        (of(Role.SUPPLY_TEMP), of(Role.RETURN_TEMP) or of(Role.ROOM_TEMP), "supply air"),
        (of(Role.CONDENSER_INLET_TEMP), of(Role.CONDENSER_OUTLET_TEMP), "condenser inlet"),
    )
    doubts: dict[Key, Guess] = {}
    for should_be_cold, should_be_warm, what in pairs:
        if unit_on is None or not should_be_cold or not should_be_warm:
            continue
        excess = median_where(should_be_cold[0], unit_on) - median_where(should_be_warm[0], unit_on)
        if excess > _SWAPPED_K:
            doubt = (
                f"the {what} is {excess:.1f} K warmer than the other side while the unit draws power: perhaps swapped"
            )
            for course in (should_be_cold[0], should_be_warm[0]):
                guess = proposed[course.key]
                doubts[course.key] = replace(guess, sure=_DOUBTED, because=f"{guess.because}; but {doubt}")
    return doubts
