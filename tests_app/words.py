"""The trade's words for the program's names."""

from __future__ import annotations

ROLE_GROUPS = {
    "Unit under test": ["unit_power", "unit_energy"],
    "Heat into the room": [
        "heater_constant_power",
        "heater_cycling_power",
        "heater_energy",
        "other_power",
        "other_energy",
        "solar_irradiance",
    ],
    "Room": ["room_temp", "room_rh", "room_wet_bulb", "surface_temp"],
    "Room side of the unit": ["supply_temp", "supply_rh", "return_temp", "return_rh", "air_flow"],
    "Outdoor side of the unit": ["condenser_inlet_temp", "condenser_outlet_temp"],
    "Around the room": ["outdoor_temp", "outdoor_rh", "adjacent_temp", "adjacent_rh", "makeup_air_temp"],
    "Water": ["condensate_mass", "water_supply_mass"],
    "Other": ["sound_level", "voltage", "relay_state", "ignored"],
}
ROLE_WORDS = {"room_rh": "Room humidity", "unit_power": "Power of the unit", "unit_energy": "Energy of the unit"}
KIND_WORDS = {
    "instant": "Readings at instants",
    "held": "Changes only: a value holds until the next",
    "interval_mean": "Means of intervals",
    "counter": "Counter that goes up",
    "total": "Total of each interval",
    "state": "On and off",
}


def role_label(role: str) -> str:
    """Return a role in words: `condenser_inlet_temp` is “Condenser inlet temperature”."""
    if role in ROLE_WORDS:
        return ROLE_WORDS[role]
    words = role.replace("_temp", "_temperature").replace("_rh", "_humidity").replace("_", " ")
    return words.capitalize()
