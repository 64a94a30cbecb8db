"""Roles of columns whose headings say nothing, from what they do while the unit draws power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from reduction.readers.behaviour import BoolArray, Course, correlation, drawing_power, median_where, switching
from reduction.readers.table import Guess
from reduction.session import Role

Key = tuple[str, str]
# Levels and counts that tell parts apart; common practice in tests of room units, no source.
CYCLES = 4
_CLEAR_K, _WARMER_K, _SAME_PLACE_K = 4.0, 2.5, 1.5
_OFF_W, _SMALL_LOAD_W, _LEAST_HEATER_W = 12.0, 100.0, 150.0
_ON_SHARE = 0.5
_FOLLOWS = 0.5
_TWINS = 0.8
_AGREES = 0.1
_COUNTERPART = {
    Role.UNIT_POWER: Role.UNIT_ENERGY,
    Role.HEATER_CONSTANT_POWER: Role.HEATER_ENERGY,
    Role.HEATER_CYCLING_POWER: Role.HEATER_ENERGY,
    Role.OTHER_POWER: Role.OTHER_ENERGY,
}


@dataclass
class Proposals:
    """What is known so far, by column: proposals from words and, as they come, from behaviour."""

    found: dict[Key, Guess] = field(default_factory=dict)

    def role(self, course: Course) -> str:
        """Return the role proposed for a course, or an empty string."""
        guess = self.found.get(course.key)
        return guess.value if guess else ""

    def has(self, role: Role) -> bool:
        """Tell whether any column was proposed for a role."""
        return any(guess.value == role.value for guess in self.found.values())

    def propose(self, course: Course, role: Role, because: str, sure: float) -> None:
        """Add a proposal with its evidence."""
        self.found[course.key] = Guess("role", role.value, f"“{course.column.name}”: {because}", round(sure, 2))


def by_behaviour(seen: Sequence[Course], known: dict[Key, Guess]) -> dict[Key, Guess]:
    """Propose roles for the courses that no word named; returns all proposals, those given included."""
    proposals = Proposals(dict(known))
    temperatures = [c for c in seen if c.column.quantity == "temperature" and np.isfinite(c.median)]
    _powers(_open(seen, proposals, "power"), seen, temperatures, proposals)
    unit_on = drawing_power([c for c in seen if proposals.role(c) == Role.UNIT_POWER])
    _temperatures(_open(seen, proposals, "temperature"), temperatures, proposals, unit_on)
    for course in _open(seen, proposals, "humidity"):
        if not proposals.has(Role.ROOM_RH):
            proposals.propose(course, Role.ROOM_RH, "the only humidity without a place; the room is usual", 0.6)
    for course in _open(seen, proposals, "mass", "volume"):
        _water(course, proposals)
    for course in _open(seen, proposals, "energy"):
        _energy(course, seen, proposals)
    return proposals.found


def _open(seen: Sequence[Course], proposals: Proposals, *quantities: str) -> list[Course]:
    return [c for c in seen if c.column.quantity in quantities and not proposals.role(c) and np.isfinite(c.median)]


def _powers(
    rest: list[Course], everything: Sequence[Course], temperatures: Sequence[Course], proposals: Proposals
) -> None:
    """Heaters switch to nothing and back or follow the mains; the coldest air follows the unit; no load is negative."""
    rest = [course for course in rest if course.median > -_OFF_W]
    for course in rest:
        s = switching(course.column)
        if s.changes >= CYCLES and s.low_w <= _OFF_W and s.level_w >= _LEAST_HEATER_W:
            because = f"it switches {s.changes} times between {s.low_w:.0f} and {s.level_w:.0f} W, as by a thermostat"
            proposals.propose(course, Role.HEATER_CYCLING_POWER, because, 0.7)
        elif course.top < _SMALL_LOAD_W:
            proposals.propose(course, Role.OTHER_POWER, f"only {course.median:.0f} W: a small load in the room", 0.5)
    _mains_twins(rest, everything, proposals)
    if not proposals.has(Role.UNIT_POWER):
        _unit_power([c for c in rest if not proposals.role(c)], temperatures, proposals)
    for course in rest:
        if not proposals.role(course):
            s = switching(course.column)
            because = f"it stays at {s.level_w:.0f} W (± {s.spread:.1%}), as a heater that runs on does"
            proposals.propose(course, Role.HEATER_CONSTANT_POWER, because, 0.6)


def _mains_twins(rest: Sequence[Course], everything: Sequence[Course], proposals: Proposals) -> None:
    """Two heaters rise and fall together with the mains voltage; a unit's drive evens that out."""
    switched = next(
        (c for c in everything if proposals.role(c) == Role.HEATER_CYCLING_POWER and c.top > _SMALL_LOAD_W), None
    )
    if switched is None:
        return
    with np.errstate(invalid="ignore"):
        on = switched.values > _ON_SHARE * switched.top
    for course in rest:
        together = correlation(course.values, switched.values, on) if not proposals.role(course) else 0.0
        if together > _TWINS:
            because = (
                f"it follows the mains as “{switched.column.name}” does while that is on (correlation {together:.2f})"
            )
            proposals.propose(course, Role.HEATER_CONSTANT_POWER, because, 0.8)


def _unit_power(rest: Sequence[Course], temperatures: Sequence[Course], proposals: Proposals) -> None:
    """Propose the unit's power: what moves with the coldest air, else the only one, else what varies most."""
    large = [c for c in rest if c.top > _SMALL_LOAD_W]
    if temperatures and large:
        coldest = min(temperatures, key=lambda c: float(np.nanpercentile(c.values, 10)))
        moves = {c.key: correlation(c.values, coldest.values) for c in large}
        unit = max(large, key=lambda c: abs(moves[c.key]))
        if abs(moves[unit.key]) > _FOLLOWS:
            because = f"“{coldest.column.name}”, the coldest air, moves with it (correlation {moves[unit.key]:+.2f})"
            proposals.propose(unit, Role.UNIT_POWER, because, 0.75)
            return
    if len(large) == 1:
        proposals.propose(large[0], Role.UNIT_POWER, "the only power that no other part explains", 0.5)
    elif large:
        unit = max(large, key=lambda c: switching(c.column).spread)
        because = f"its level varies most of {len(large)} steady powers ({switching(unit.column).spread:.1%})"
        proposals.propose(unit, Role.UNIT_POWER, because, 0.4)


def _temperatures(
    rest: Sequence[Course], everything: Sequence[Course], proposals: Proposals, unit_on: BoolArray | None
) -> None:
    """Coldest air while the unit draws power is supply, hottest condenser outlet; the rest by nearness and company."""
    if not rest:
        return
    level = {c.key: median_where(c, unit_on) for c in everything}
    ordered = sorted(everything, key=lambda c: level[c.key])
    when = "while the unit draws power" if unit_on is not None else "over the whole file"
    sure = 0.8 if unit_on is not None else 0.55
    for end, beside, role, word in (
        (0, 1, Role.SUPPLY_TEMP, "coldest"),
        (-1, -2, Role.CONDENSER_OUTLET_TEMP, "hottest"),
    ):
        extreme = ordered[end]
        if len(ordered) < 3 or proposals.role(extreme) or proposals.has(role):
            continue
        gap = abs(level[extreme.key] - level[ordered[beside].key])
        if gap > _CLEAR_K:
            because = f"{word} {when}: {level[extreme.key]:.1f} °C, {gap:.1f} K from the next"
            proposals.propose(extreme, role, because, sure)
    room = _room_level(everything, proposals, level)
    _condenser_inlet(everything, proposals, level, room, when)
    for course in rest:
        if not proposals.role(course):
            _by_nearness(course, proposals, level[course.key], room, when)


def _room_level(everything: Sequence[Course], proposals: Proposals, level: dict[Key, float]) -> float:
    """Level of the room: of its named sensors, else the middle of the tightest group of those without a name."""
    named = [level[c.key] for c in everything if proposals.role(c) in {Role.ROOM_TEMP, Role.RETURN_TEMP}]
    if named:
        return float(np.median(named))
    levels = [level[c.key] for c in everything if not proposals.role(c)]
    company = [sum(abs(a - b) < _SAME_PLACE_K for b in levels) for a in levels]
    return levels[int(np.argmax(company))] if levels else float("nan")


def _condenser_inlet(
    everything: Sequence[Course], proposals: Proposals, level: dict[Key, float], room: float, when: str
) -> None:
    outlet = next((c for c in everything if proposals.role(c) == Role.CONDENSER_OUTLET_TEMP), None)
    warm = [c for c in everything if not proposals.role(c) and level[c.key] > room + _WARMER_K]
    if outlet is None or not warm or proposals.has(Role.CONDENSER_INLET_TEMP):
        return
    inlet = max(warm, key=lambda c: correlation(c.values, outlet.values))
    because = f"{level[inlet.key]:.1f} °C {when}, and of the warm air it moves most like the condenser outlet"
    proposals.propose(inlet, Role.CONDENSER_INLET_TEMP, because, 0.6)


def _by_nearness(course: Course, proposals: Proposals, level: float, room: float, when: str) -> None:
    away = level - room
    where = f"{level:.1f} °C {when}, {abs(away):.1f} K {'warmer' if away > 0 else 'colder'} than the room"
    if abs(away) < _SAME_PLACE_K:
        proposals.propose(course, Role.ROOM_TEMP, f"{level:.1f} °C {when}, within {abs(away):.1f} K of the room", 0.55)
    elif away > _WARMER_K:
        proposals.propose(course, Role.OUTDOOR_TEMP, where, 0.5)
    else:
        proposals.propose(course, Role.ADJACENT_TEMP, where, 0.4)


def _water(course: Course, proposals: Proposals) -> None:
    """Water that grows is condensate, water that shrinks is what the room is given."""
    known = course.column.values[np.isfinite(course.column.values)]
    change = float(known[-1] - known[0])
    role = Role.CONDENSATE_MASS if change > 0 else Role.WATER_SUPPLY_MASS
    because = f"it {'grows' if change > 0 else 'shrinks'} by {abs(change):.4g} {course.column.quantity_unit}"
    proposals.propose(course, role, because, 0.6 if change else 0.3)


def _energy(course: Course, seen: Sequence[Course], proposals: Proposals) -> None:
    """A counter without a name belongs to the power whose mean it shows."""
    values = course.values[np.isfinite(course.values)]
    span_s = float(course.column.time_s[-1] - course.column.time_s[0])
    mean_w = float(np.clip(np.diff(values), 0, None).sum()) / span_s if span_s > 0 else 0.0
    powers = [c for c in seen if c.column.quantity == "power" and proposals.role(c) in set(_COUNTERPART)]
    if not powers or mean_w <= 0:
        return
    twin = min(powers, key=lambda c: abs(float(np.nanmean(c.values)) - mean_w))
    near = abs(float(np.nanmean(twin.values)) - mean_w) < _AGREES * mean_w
    because = f"its {mean_w:.0f} W on average are nearest to “{twin.column.name}”"
    proposals.propose(course, _COUNTERPART[Role(proposals.role(twin))], because, 0.7 if near else 0.35)
