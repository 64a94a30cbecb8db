"""Which column plays which part in the test: proposed from words, levels and behaviour, each with its evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reduction.readers.behaviour import BoolArray, Course, courses, median_where, switching
from reduction.readers.headings import words_of
from reduction.readers.nameless import by_behaviour
from reduction.readers.place_words import role_by_words
from reduction.readers.table import Column, Guess, Log
from reduction.session import Role

Key = tuple[str, str]
_CYCLES = 4  # on-and-off changes from which a heater counts as switched: two full cycles, common practice
_UNIT_ON_W = 100.0


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
    found = {key: _by_words(key, column) for key, column in keyed}
    known = {key: guess for key, guess in found.items() if guess is not None}
    seen = courses(keyed)
    unit_on = _unit_on(seen, known)
    known |= by_behaviour([c for c in seen if c.key not in known], seen, known, unit_on)
    known |= _doubts(seen, known, unit_on)
    for key, column in keyed:
        known.setdefault(
            key, Guess("role", Role.IGNORED.value, _said(column, "no word and no behaviour tells what it is"), 0.3)
        )
    return known


def with_roles(logs: Sequence[Log]) -> tuple[Log, ...]:
    """Return the logs with the roles that all of them together suggest."""
    proposed = propose_roles(logs)

    def named(log: Log, column: Column) -> Column:
        guess = proposed[log.path, column.name]
        return replace(column, role=Role(guess.value), role_guess=guess)

    return tuple(replace(log, columns=tuple(named(log, c) for c in log.columns)) for log in logs)


def _by_words(key: Key, column: Column) -> Guess | None:
    named = role_by_words(words_of(column.name), column.quantity)
    if named is None or column.is_difference:
        return (
            None
            if not column.is_difference
            else Guess("role", Role.IGNORED.value, f"“{column.name}” is a difference", 0.8)
        )
    role, word, sure = named
    because = f"heading “{column.name}” says “{word}”"
    if role is Role.HEATER_CONSTANT_POWER and sure < 0.9:
        role, evidence, sure = _heater(column)
        because = f"{because}; {evidence}"
    elif column.quantity == "power":
        because = f"{because}; {_power_level(column)}"
    else:
        because = f"{because}; {_level(column)}"
    return Guess("role", role.value, because, sure)


def _heater(column: Column) -> tuple[Role, str, float]:
    """Tell a heater under a thermostat from one that runs on, by its switching."""
    s = switching(column)
    if s.changes >= _CYCLES:
        return (
            Role.HEATER_CYCLING_POWER,
            f"it switches {s.changes} times between {s.low_w:.0f} and {s.level_w:.0f} W, {s.on_share:.0%} of the time on",
            0.93,
        )
    if s.changes == 0:
        return Role.HEATER_CONSTANT_POWER, f"it runs on at {s.level_w:.0f} W (± {s.spread:.1%})", 0.93
    sure = 0.6 if 0.02 < s.on_share < 0.9 and s.changes > 1 else 0.75
    return Role.HEATER_CONSTANT_POWER, f"it changes {s.changes} time(s) only, at {s.level_w:.0f} W while on", sure


def _power_level(column: Column) -> str:
    s = switching(column)
    if s.changes >= _CYCLES:
        return f"it switches {s.changes} times, {s.level_w:.0f} W while on"
    return f"about {s.level_w:.0f} W"


def _level(column: Column) -> str:
    known = column.values[np.isfinite(column.values)]
    if not len(known):
        return "no reading"
    lo, hi = float(known.min()), float(known.max())
    return f"{lo:.4g} to {hi:.4g} {column.quantity_unit}".strip()


def _said(column: Column, why: str) -> str:
    return f"“{column.name}” ({_level(column)}): {why}"


def _unit_on(seen: Sequence[Course], known: dict[Key, Guess]) -> BoolArray | None:
    """Return when the unit draws power, on the common grid; None where no column says."""
    powers = [c for c in seen if (g := known.get(c.key)) and g.value == Role.UNIT_POWER.value]
    if not powers or not np.isfinite(powers[0].top):
        return None
    with np.errstate(invalid="ignore"):
        on = powers[0].values > max(_UNIT_ON_W, 0.4 * powers[0].top)
    return on if on.sum() >= 5 else None


def _doubts(seen: Sequence[Course], known: dict[Key, Guess], unit_on: BoolArray | None) -> dict[Key, Guess]:
    """Lower the certainty of words that the behaviour speaks against, and say so."""
    if unit_on is None:
        return {}
    role = {c.key: known[c.key].value for c in seen if c.key in known}
    supply = [c for c in seen if role.get(c.key) == Role.SUPPLY_TEMP.value]
    back = [c for c in seen if role.get(c.key) in {Role.RETURN_TEMP.value, Role.ROOM_TEMP.value}]
    inlet = [c for c in seen if role.get(c.key) == Role.CONDENSER_INLET_TEMP.value]
    outlet = [c for c in seen if role.get(c.key) == Role.CONDENSER_OUTLET_TEMP.value]
    doubts: dict[Key, Guess] = {}
    for low, high, what in ((supply, back, "supply air"), (inlet, outlet, "condenser inlet")):
        if not low or not high:
            continue
        cold, warm = median_where(low[0], unit_on), float(np.median([median_where(c, unit_on) for c in high]))
        if cold > warm + 1.0:
            for course in (*low, *high[:1]):
                guess = known[course.key]
                doubts[course.key] = replace(guess, sure=0.3, because=f"{guess.because}; but the {what} is {cold - warm:.1f} K "
                    "warmer than the other side while the unit draws power: the two may be swapped")  # fmt: skip
    return doubts
