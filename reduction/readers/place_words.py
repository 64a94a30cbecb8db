"""Which place or load a heading's words name, in four languages."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

from reduction.session import Role

_TEMPERATURE = {
    "supply": Role.SUPPLY_TEMP, "return": Role.RETURN_TEMP, "outdoor": Role.OUTDOOR_TEMP, "room": Role.ROOM_TEMP,
    "adjacent": Role.ADJACENT_TEMP, "makeup": Role.MAKEUP_AIR_TEMP, "surface": Role.SURFACE_TEMP,
    "exhaust": Role.CONDENSER_OUTLET_TEMP,
}  # fmt: skip
_HUMIDITY = {
    "supply": Role.SUPPLY_RH,
    "return": Role.RETURN_RH,
    "outdoor": Role.OUTDOOR_RH,
    "adjacent": Role.ADJACENT_RH,
    "room": Role.ROOM_RH,
}
_TEMPERATURE_ORDER = ("makeup", "supply", "return", "exhaust", "adjacent", "outdoor", "surface", "room")
_COMPOUND_FROM = 4
_BY_QUANTITY = {
    "air_flow": Role.AIR_FLOW, "irradiance": Role.SOLAR_IRRADIANCE, "sound_level": Role.SOUND_LEVEL,
    "voltage": Role.VOLTAGE, "state": Role.RELAY_STATE,
}  # fmt: skip


@cache
def _table() -> dict[str, tuple[str, ...]]:
    """Return word → places, from data/place_words.csv."""
    text = files("reduction").joinpath("data/place_words.csv").read_text(encoding="utf-8")
    places: dict[str, tuple[str, ...]] = {}
    for row in csv.DictReader(text.splitlines()):
        for word in row["words"].split():
            places[word] = (*places.get(word, ()), row["place"])
    return places


def places_named(words: Sequence[str]) -> dict[str, str]:
    """Return every place that the words name, with the word that does.

    A word of four letters or more counts where it begins a compound (`Raumtemperatur`), a short one only whole.

    Examples
    --------
    >>> places_named(("t", "cond", "in"))
    {'condenser': 'cond', 'inlet': 'in'}
    >>> places_named(("raumtemperatur",))
    {'room': 'raumtemperatur'}
    """
    table = _table()
    found: dict[str, str] = {}
    for word in (*words, *(a + b for a, b in zip(words, words[1:], strict=False))):
        starts = (word, *(word[:n] for n in range(len(word) - 1, _COMPOUND_FROM - 1, -1)))
        for place in next((table[s] for s in starts if s in table), ()):
            found.setdefault(place, word)
    return found


def role_by_words(words: Sequence[str], quantity: str) -> tuple[Role, str, float] | None:
    """Return the role that words and quantity name, the words that do, and how sure that is.

    Examples
    --------
    >>> role_by_words(("t", "cond", "in"), "temperature")
    (<Role.CONDENSER_INLET_TEMP: 'condenser_inlet_temp'>, 'cond in', 0.97)
    """
    places = places_named(words)
    if quantity == "temperature":
        return _temperature(places, words)
    if quantity == "humidity":
        return next(((role, places[p], 0.96) for p, role in _HUMIDITY.items() if p in places), None)
    if quantity in {"power", "energy"}:
        return _electric(places, quantity)
    if quantity in {"mass", "volume"}:
        roles = {"condensate": Role.CONDENSATE_MASS, "water_supply": Role.WATER_SUPPLY_MASS}
        return next(((role, places[p], 0.93) for p, role in roles.items() if p in places), None)
    role = _BY_QUANTITY.get(quantity)
    return (role, f"a {quantity.replace('_', ' ')}", 0.9) if role else None


def _temperature(places: dict[str, str], words: Sequence[str]) -> tuple[Role, str, float] | None:
    if "dew_point" in places:
        return Role.IGNORED, places["dew_point"], 0.9
    if "wet_bulb" in places:
        is_room = not {"outdoor", "supply", "return", "condenser", "adjacent"} & set(places)
        return (Role.ROOM_WET_BULB if is_room else Role.IGNORED), places["wet_bulb"], 0.9
    side = next((s for s in ("inlet", "outlet") if s in places), None)
    if "condenser" in places and side:
        role = Role.CONDENSER_INLET_TEMP if side == "inlet" else Role.CONDENSER_OUTLET_TEMP
        return role, f"{places['condenser']} {places[side]}", 0.97
    if ("evaporator" in places or "unit" in places) and side and not {"supply", "return"} & set(places):
        role = Role.RETURN_TEMP if side == "inlet" else Role.SUPPLY_TEMP
        return role, f"{places.get('evaporator') or places['unit']} {places[side]}", 0.85
    if "heater" in places and side == "outlet":
        return Role.SURFACE_TEMP, places["heater"], 0.7
    for place in _TEMPERATURE_ORDER:
        if place in places:
            others = [p for p in _TEMPERATURE_ORDER if p in places and p != place and p != "room"]
            return _TEMPERATURE[place], places[place], 0.96 if not others else 0.75
    return None


def _electric(places: dict[str, str], quantity: str) -> tuple[Role, str, float] | None:
    is_power = quantity == "power"
    if "total" in places and "heater" not in places and "unit" not in places:
        return Role.IGNORED, f"{places['total']}: a sum of several loads", 0.7
    if "heater" in places:
        word = places["heater"]
        if not is_power:
            return Role.HEATER_ENERGY, word, 0.95
        if "cycling" in places:
            return Role.HEATER_CYCLING_POWER, f"{word} {places['cycling']}", 0.97
        if "constant" in places:
            return Role.HEATER_CONSTANT_POWER, f"{word} {places['constant']}", 0.97
        return Role.HEATER_CONSTANT_POWER, word, 0.6
    if "unit" in places:
        return (Role.UNIT_POWER if is_power else Role.UNIT_ENERGY), places["unit"], 0.95
    if "other" in places:
        return (Role.OTHER_POWER if is_power else Role.OTHER_ENERGY), places["other"], 0.93
    return None
