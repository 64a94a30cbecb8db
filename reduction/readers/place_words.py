"""Which place or load a heading's words name, in eleven languages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from reduction.readers.words import places
from reduction.session import Role

Named = tuple[Role, str, float]
_COMPOUND_FROM = 4
_SIGNS = "\u2e80"  # from here on scripts that put no space between words
_BESIDE_THE_TEST = ("dew_point", "set_point", "derived")  # temperatures that nothing in the test has
_CONDENSER = {"inlet": Role.CONDENSER_INLET_TEMP, "outlet": Role.CONDENSER_OUTLET_TEMP}
_EVAPORATOR = {"inlet": Role.RETURN_TEMP, "outlet": Role.SUPPLY_TEMP}
_TEMPERATURE = {
    "makeup": Role.MAKEUP_AIR_TEMP,
    "supply": Role.SUPPLY_TEMP,
    "return": Role.RETURN_TEMP,
    "exhaust": Role.CONDENSER_OUTLET_TEMP,
    "adjacent": Role.ADJACENT_TEMP,
    "outdoor": Role.OUTDOOR_TEMP,
    "surface": Role.SURFACE_TEMP,
    "room": Role.ROOM_TEMP,
}
_HUMIDITY = {
    "supply": Role.SUPPLY_RH,
    "return": Role.RETURN_RH,
    "outdoor": Role.OUTDOOR_RH,
    "adjacent": Role.ADJACENT_RH,
    "room": Role.ROOM_RH,
}
_POWER = {"unit": Role.UNIT_POWER, "other": Role.OTHER_POWER}
_ENERGY = {"heater": Role.HEATER_ENERGY, "unit": Role.UNIT_ENERGY, "other": Role.OTHER_ENERGY}
_WATER = {"condensate": Role.CONDENSATE_MASS, "water_supply": Role.WATER_SUPPLY_MASS}
_BY_QUANTITY = {
    "air_flow": Role.AIR_FLOW,
    "irradiance": Role.SOLAR_IRRADIANCE,
    "sound_level": Role.SOUND_LEVEL,
    "voltage": Role.VOLTAGE,
    "state": Role.RELAY_STATE,
}


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
    table = places()
    found: dict[str, str] = {}
    for word in (*words, *(a + b for a, b in pairwise(words))):
        for place in _places_of(word, table):
            found.setdefault(place, word)
    return found


def _places_of(word: str, table: dict[str, tuple[str, ...]]) -> Iterable[str]:
    """Places of a whole word, of a long one that begins with it, or of any part where no spaces part the words."""
    if word >= _SIGNS and word not in table:
        return [place for known, places in table.items() if known >= _SIGNS and known in word for place in places]
    starts = (word, *(word[:n] for n in range(len(word) - 1, _COMPOUND_FROM - 1, -1)))
    return next((table[s] for s in starts if s in table), ())


def role_by_words(words: Sequence[str], quantity: str) -> Named | None:
    """Return the role that words and quantity name, the words that do, and how sure that is.

    Examples
    --------
    >>> role_by_words(("t", "cond", "in"), "temperature")
    (<Role.CONDENSER_INLET_TEMP: 'condenser_inlet_temp'>, 'cond in', 0.97)
    """
    named = places_named(words)
    if quantity == "temperature":
        return _side(named) or _temperature(named)
    if quantity in {"power", "energy"}:
        return _electric(named, quantity)
    if quantity == "humidity":
        return _first(_HUMIDITY, named, 0.96)
    if quantity in {"mass", "volume"}:
        return _first(_WATER, named, 0.93)
    role = _BY_QUANTITY.get(quantity)
    return (role, quantity.replace("_", " "), 0.9) if role else None


def names_a_place(words: Sequence[str], quantity: str) -> bool:
    """Tell whether words name a part of the test, not only a quantity such as voltage.

    Examples
    --------
    >>> names_a_place(("supply",), "temperature"), names_a_place(("voltage",), "voltage")
    (True, False)
    """
    named = None if quantity in _BY_QUANTITY else role_by_words(words, quantity)
    return named is not None and named[0] != Role.IGNORED


def _first(roles: dict[str, Role], named: dict[str, str], sure: float) -> Named | None:
    return next(((role, named[place], sure) for place, role in roles.items() if place in named), None)


def _side(named: dict[str, str]) -> Named | None:
    """Read an inlet or outlet of condenser, heater, evaporator or the unit itself."""
    side = next((s for s in ("inlet", "outlet") if s in named), None)
    if side is None:
        return None
    if "condenser" in named or {"outdoor", "unit"} <= set(named):
        of = named.get("condenser") or f"{named['outdoor']} {named['unit']}"
        said = of if of == named[side] else f"{of} {named[side]}"
        return _CONDENSER[side], said, 0.97 if "condenser" in named else 0.9
    if "heater" in named:
        return Role.SURFACE_TEMP, f"{named['heater']} {named[side]}", 0.7
    if set(_TEMPERATURE) & set(named):
        return None
    of = named.get("evaporator") or named.get("unit") or ""
    return _EVAPORATOR[side], f"{of} {named[side]}".strip(), 0.85 if of else 0.6


def _temperature(named: dict[str, str]) -> Named | None:
    if beside := next((place for place in _BESIDE_THE_TEST if place in named), None):
        return Role.IGNORED, named[beside], 0.9
    if "wet_bulb" in named:
        elsewhere = {"outdoor", "supply", "return", "condenser", "adjacent"} & set(named)
        return (Role.IGNORED if elsewhere else Role.ROOM_WET_BULB), named["wet_bulb"], 0.9
    rivals = [place for place in _TEMPERATURE if place in named and place != "room"]
    if "device" in named and not rivals and "room" not in named:
        return Role.IGNORED, f"{named['device']}: the meter's own", 0.8
    return _first(_TEMPERATURE, named, 0.96 if len(rivals) < 2 else 0.75)


def _electric(named: dict[str, str], quantity: str) -> Named | None:
    if "total" in named and not {"heater", "unit"} & set(named):
        return Role.IGNORED, f"{named['total']}: a sum of several loads", 0.7
    if quantity == "energy":
        return _first(_ENERGY, named, 0.95)
    if "heater" not in named:
        return _first(_POWER, named, 0.95)
    if "cycling" in named:
        return Role.HEATER_CYCLING_POWER, f"{named['heater']} {named['cycling']}", 0.97
    if "constant" in named:
        return Role.HEATER_CONSTANT_POWER, f"{named['heater']} {named['constant']}", 0.97
    return Role.HEATER_CONSTANT_POWER, named["heater"], 0.6
