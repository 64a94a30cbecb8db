"""Roles of columns whose headings say nothing, from what they do while the unit draws power."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reduction.readers.behaviour import BoolArray, Course, correlation, median_where, switching
from reduction.readers.table import Guess
from reduction.session import Role

Key = tuple[str, str]
_CLEAR_K = 4.0  # gap between two levels that no mix-up of sensors explains; common practice, no source
_CYCLES = 4
_OFF_W = 12.0


def by_behaviour(
    open_courses: Sequence[Course], seen: Sequence[Course], known: dict[Key, Guess], unit_on: BoolArray | None
) -> dict[Key, Guess]:
    """Propose roles for the courses that no word named."""
    found: dict[Key, Guess] = {}
    by_quantity: dict[str, list[Course]] = {}
    for course in open_courses:
        if np.isfinite(course.median):
            by_quantity.setdefault(course.column.quantity, []).append(course)
    temperatures = [c for c in seen if c.column.quantity == "temperature" and np.isfinite(c.median)]
    taken = {guess.value for guess in known.values()}
    found |= _powers(by_quantity.get("power", []), temperatures, taken)
    if unit_on is None:
        unit_on = _on_of(seen, found)
    found |= _temperatures(by_quantity.get("temperature", []), temperatures, known, unit_on)
    found |= _humidities(by_quantity.get("humidity", []), taken)
    found |= _masses([*by_quantity.get("mass", []), *by_quantity.get("volume", [])])
    found |= _energies(by_quantity.get("energy", []), seen, known | found)
    return found


def _guess(course: Course, role: Role, because: str, sure: float) -> dict[Key, Guess]:
    return {course.key: Guess("role", role.value, f"“{course.column.name}”: {because}", round(sure, 2))}


def _on_of(seen: Sequence[Course], found: dict[Key, Guess]) -> BoolArray | None:
    unit = next((c for c in seen if c.key in found and found[c.key].value == Role.UNIT_POWER.value), None)
    if unit is None:
        return None
    with np.errstate(invalid="ignore"):
        on = unit.values > 0.4 * unit.top
    return on if on.sum() >= 5 else None


def _powers(powers: Sequence[Course], temperatures: Sequence[Course], taken: set[str]) -> dict[Key, Guess]:
    """Unit: the power that the coldest air follows. Heaters: switched to zero and back, or large and constant."""
    found: dict[Key, Guess] = {}
    rest = sorted(powers, key=lambda c: -c.top)
    coldest = min(temperatures, key=lambda c: float(np.nanpercentile(c.values, 10)), default=None)
    if coldest is not None and Role.UNIT_POWER.value not in taken and rest:
        moves = {c.key: correlation(c.values, coldest.values) for c in rest}
        unit = min(rest, key=lambda c: moves[c.key])
        if moves[unit.key] < -0.5 and unit.top > 100:
            found |= _guess(
                unit,
                Role.UNIT_POWER,
                f"“{coldest.column.name}”, the coldest air, falls when it rises (correlation {moves[unit.key]:.2f})",
                0.75,
            )
            rest.remove(unit)
    for course in list(rest):
        s = switching(course.column)
        if s.changes >= _CYCLES and s.low_w <= _OFF_W and s.level_w >= 150:
            found |= _guess(
                course,
                Role.HEATER_CYCLING_POWER,
                f"it switches {s.changes} times between {s.low_w:.0f} and {s.level_w:.0f} W, as a heater on a thermostat does",
                0.7,
            )
            rest.remove(course)
        elif course.top < 100:
            found |= _guess(course, Role.OTHER_POWER, f"only {course.median:.0f} W: a small load in the room", 0.5)
            rest.remove(course)
    if (
        len(rest) > 1
        and Role.UNIT_POWER.value not in taken
        and not any(g.value == "unit_power" for g in found.values())
    ):
        unit = max(rest, key=lambda c: switching(c.column).spread)
        found |= _guess(
            unit,
            Role.UNIT_POWER,
            f"its level varies most of the {len(rest)} steady powers ({switching(unit.column).spread:.1%})",
            0.4,
        )
        rest.remove(unit)
    for course in rest:
        s = switching(course.column)
        alone = len(powers) == 1 and Role.UNIT_POWER.value not in taken
        role = Role.UNIT_POWER if alone else Role.HEATER_CONSTANT_POWER
        why = (
            "the only power of the file"
            if alone
            else f"it stays at {s.level_w:.0f} W (± {s.spread:.1%}), as a heater that runs on does"
        )
        found |= _guess(course, role, why, 0.45 if alone else 0.6)
    return found


def _temperatures(
    nameless: Sequence[Course], all_of_them: Sequence[Course], known: dict[Key, Guess], unit_on: BoolArray | None
) -> dict[Key, Guess]:
    """Coldest air while the unit draws power is supply, hottest condenser outlet; the rest by nearness and company."""
    found: dict[Key, Guess] = {}
    taken = {guess.value for guess in known.values()}
    level = {c.key: median_where(c, unit_on) for c in all_of_them}
    ordered = sorted(all_of_them, key=lambda c: level[c.key])
    rest = sorted(nameless, key=lambda c: level[c.key])
    while_on = "while the unit draws power" if unit_on is not None else "over the whole file"
    if len(ordered) >= 3 and rest:
        gap_low = level[ordered[1].key] - level[ordered[0].key]
        if ordered[0] is rest[0] and gap_low > _CLEAR_K and Role.SUPPLY_TEMP.value not in taken:
            found |= _guess(
                rest.pop(0),
                Role.SUPPLY_TEMP,
                f"coldest {while_on}, {level[ordered[0].key]:.1f} °C, {gap_low:.1f} K below the next",
                0.85 if unit_on is not None else 0.6,
            )
    if len(ordered) >= 3 and rest:
        gap_high = level[ordered[-1].key] - level[ordered[-2].key]
        if ordered[-1] is rest[-1] and gap_high > _CLEAR_K and Role.CONDENSER_OUTLET_TEMP.value not in taken:
            found |= _guess(
                rest.pop(),
                Role.CONDENSER_OUTLET_TEMP,
                f"hottest {while_on}, {level[ordered[-1].key]:.1f} °C, {gap_high:.1f} K above the next",
                0.8 if unit_on is not None else 0.55,
            )
    outlet = next(
        (c for c in all_of_them if (known | found).get(c.key, _NONE).value == Role.CONDENSER_OUTLET_TEMP.value), None
    )
    room = _room_level(all_of_them, known, rest, level)
    return found | _warm_and_room(rest, outlet, room, level, taken, while_on)


_NONE = Guess("role", "", "", 0.0)


def _room_level(
    courses: Sequence[Course], known: dict[Key, Guess], rest: Sequence[Course], level: dict[Key, float]
) -> float:
    """Level of the room: of its named sensors, else the middle of the tightest group of those without a name."""
    named = [
        level[c.key] for c in courses if known.get(c.key, _NONE).value in {Role.ROOM_TEMP.value, Role.RETURN_TEMP.value}
    ]
    if named:
        return float(np.median(named))
    levels = sorted(level[c.key] for c in rest)
    if not levels:
        return float("nan")
    crowd = [sum(abs(a - b) < 1.5 for b in levels) for a in levels]
    return levels[int(np.argmax(crowd))]


def _warm_and_room(
    rest: Sequence[Course], outlet: Course | None, room: float, level: dict[Key, float], taken: set[str], while_on: str
) -> dict[Key, Guess]:
    found: dict[Key, Guess] = {}
    warm = [c for c in rest if level[c.key] > room + _CLEAR_K]
    if warm and outlet is not None and Role.CONDENSER_INLET_TEMP.value not in taken:
        inlet = max(warm, key=lambda c: correlation(c.values, outlet.values))
        found |= _guess(
            inlet,
            Role.CONDENSER_INLET_TEMP,
            f"{level[inlet.key]:.1f} °C {while_on}, and of the warm air it moves most like the condenser outlet",
            0.6,
        )
    for course in warm:
        if course.key not in found:
            found |= _guess(
                course,
                Role.OUTDOOR_TEMP,
                f"{level[course.key]:.1f} °C {while_on}, {level[course.key] - room:.1f} K warmer than the room",
                0.5,
            )
    for course in rest:
        if course.key in found:
            continue
        away = level[course.key] - room
        if abs(away) < 1.5:
            found |= _guess(
                course,
                Role.ROOM_TEMP,
                f"{level[course.key]:.1f} °C {while_on}, within {abs(away):.1f} K of the room",
                0.55,
            )
        else:
            found |= _guess(
                course,
                Role.ADJACENT_TEMP,
                f"{level[course.key]:.1f} °C {while_on}, {abs(away):.1f} K {'warmer' if away > 0 else 'colder'} than the room",
                0.4,
            )
    return found


def _humidities(humidities: Sequence[Course], taken: set[str]) -> dict[Key, Guess]:
    free = Role.ROOM_RH.value not in taken
    return {k: g for c in humidities for k, g in _guess(c, Role.ROOM_RH if free else Role.IGNORED,
        "a humidity without a place; the room is the usual one" if free else "a humidity without a place beside a named one", 0.6 if free else 0.4).items()}  # fmt: skip


def _masses(masses: Sequence[Course]) -> dict[Key, Guess]:
    """Water that grows is condensate, water that shrinks is what the room is given."""
    found: dict[Key, Guess] = {}
    for course in masses:
        known = course.column.values[np.isfinite(course.column.values)]
        change = float(known[-1] - known[0]) if len(known) else 0.0
        unit = course.column.quantity_unit
        role = Role.CONDENSATE_MASS if change > 0 else Role.WATER_SUPPLY_MASS
        found |= _guess(
            course,
            role,
            f"it {'grows' if change > 0 else 'shrinks'} by {abs(change):.4g} {unit}",
            0.6 if change else 0.3,
        )
    return found


def _energies(energies: Sequence[Course], seen: Sequence[Course], known: dict[Key, Guess]) -> dict[Key, Guess]:
    """A counter without a name belongs to the power whose mean it shows."""
    counterpart = {Role.UNIT_POWER: Role.UNIT_ENERGY, Role.HEATER_CONSTANT_POWER: Role.HEATER_ENERGY,
        Role.HEATER_CYCLING_POWER: Role.HEATER_ENERGY, Role.OTHER_POWER: Role.OTHER_ENERGY}  # fmt: skip
    powers = [(c, Role(known[c.key].value)) for c in seen if c.column.quantity == "power" and c.key in known]
    found: dict[Key, Guess] = {}
    for course in energies:
        values = course.values[np.isfinite(course.values)]
        span_s = float(course.column.time_s[-1] - course.column.time_s[0])
        gained = float(np.clip(np.diff(values), 0, None).sum()) if len(values) else 0.0
        mean_w = gained / span_s if span_s > 0 else 0.0
        near = [(abs(float(np.nanmean(c.values)) - mean_w), c, r) for c, r in powers if r in counterpart]
        if near and mean_w > 0:
            away, twin, role = min(near, key=lambda item: item[0])
            sure = 0.7 if away < 0.1 * mean_w else 0.35
            found |= _guess(
                course, counterpart[role], f"its {mean_w:.0f} W on average are nearest to “{twin.column.name}”", sure
            )
    return found
