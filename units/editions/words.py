"""Words of the published page that are not in its document."""

from __future__ import annotations

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

CONDITIONS = {
    "room_temp_c": "Room",
    "room_rh_percent": "Room humidity",
    "room_wet_bulb_c": "Room, wet bulb",
    "outdoor_temp_c": "Outdoors",
    "condenser_inlet_temp_c": "Air entering the outdoor side",
    "condenser_outlet_temp_c": "Air leaving the outdoor side",
    "supply_temp_c": "Supply air",
    "return_temp_c": "Return air",
    "adjacent_temp_c": "Adjoining rooms",
    "makeup_air_temp_c": "Air drawn in",
}
TIES = {
    "bought": "The reviewer paid the price; the maker did not choose the sample.",
    "lent": "Lent by the maker, who may have picked the sample.",
    "given": "Given by the maker free of charge, who may have picked the sample.",
    "paid_test": "This was a paid test: the reviewer was paid for it.",
    "other": "Obtained otherwise; see the details.",
}
CAUTIONS = (
    "A heat-balance test runs heaters for hours. Do not copy it lightly, and never leave it unattended.",
    "One heater to a circuit, straight into the wall, within its continuous rating; 1 m clear of what burns.",
    "Keep the outdoor side's air paths open: nothing that burns, falls shut or covers a vent.",
    "A flammable refrigerant and a glowing or sparking heater do not belong in one closed room.",
    "Nobody alone in a hot room. Local codes and licensed practice go before anything said here.",
)


def condition_title(name: str) -> str:
    """Return what a condition is called: `room_temp_c` is the room."""
    return CONDITIONS.get(name, name.removesuffix("_c").removesuffix("_temp").replace("_", " ").capitalize())


def plain(text: str) -> SafeString:
    """Return text for HTML with its line breaks kept."""
    return mark_safe("<br>".join(str(escape(line)) for line in text.strip().splitlines()))  # noqa: S308  each line is escaped
