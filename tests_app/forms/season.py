"""A reader's own season: climate, the room's load, price and hours."""

from __future__ import annotations

import re
from typing import Any

from django import forms

from reduction.ground.constants import BTU_PER_H_PER_W
from units.forms.fields import TemperatureField, in_readers_scale
from units.quantities import Display

MOST_BYTES = 8 << 20  # an EPW year has about 1.6 MB
POWER = re.compile(r"(\d[\d,]*(?:\.\d+)?)\s*(W|kW|Btu/h)?", re.IGNORECASE)
WATTS = {"w": 1.0, "kw": 1000.0, "btu/h": 1.0 / BTU_PER_H_PER_W}


class LoadField(forms.Field):
    """A cooling load in the reader's unit, or in the one written after it. Cleans to W."""

    def __init__(self, *, display: Display, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.display = display

    def to_python(self, value: str | None) -> float | None:
        """Return W."""
        if not value or not value.strip():
            return None
        written = POWER.fullmatch(value.strip())
        if written is None or not float(written[1].replace(",", "")):
            raise forms.ValidationError(f"“{value}” is no load. Write 2000 W or 7000 Btu/h.")
        return float(written[1].replace(",", "")) * WATTS[(written[2] or self.display.power).lower()]


class SeasonForm(forms.Form):
    """What the unit's own figures cannot say."""

    climate = forms.FileField(
        label="Climate file", required=False, help_text="EPW or TMY of your place, or a table: temperature, hours."
    )
    bins = forms.CharField(
        label="Or type a table",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text="A line each: outdoor temperature, hours a year. °C, unless the first line says temp_f,hours.",
    )
    no_load_c = TemperatureField(label="No cooling below", help_text="Outdoors")
    full_load_c = TemperatureField(label="Full load at", help_text="Outdoors")
    room_wet_bulb_c = TemperatureField(label="Wet bulb of your room", help_text="19.4 °C in the US room test")
    price_per_kwh = forms.DecimalField(label="Price of a kWh", min_value=0, max_value=1000, decimal_places=4)
    currency = forms.CharField(label="Currency", max_length=3, required=False, help_text="Such as EUR")
    standby_hours = forms.FloatField(label="Hours on standby a year", min_value=0, max_value=8784, initial=0)

    def __init__(self, data: Any = None, files: Any = None, *, display: Display) -> None:
        super().__init__(data, files)
        hint = f"Heat your room gains then, in {display.power} if no unit is written"
        self.fields["full_load_w"] = LoadField(label="That load", display=display, help_text=hint)
        self.order_fields(["climate", "bins", "no_load_c", "full_load_c", "full_load_w"])
        in_readers_scale(self, display)

    def clean(self) -> dict[str, Any]:
        """Take one climate, as text, and a load that rises with the outdoor temperature."""
        cleaned = super().clean()
        file, typed = cleaned.get("climate"), cleaned.get("bins")
        if bool(file) == bool(typed):
            self.add_error("climate", "Give either a file or a typed table.")
        elif file and file.size > MOST_BYTES:
            self.add_error("climate", f"This file has {file.size / 1e6:.0f} MB; a year of hours has less than 8.")
        else:
            cleaned["name"] = file.name if file else "the typed table"
            cleaned["text"] = file.read().decode("utf-8-sig", errors="replace") if file else typed
        low, high = cleaned.get("no_load_c"), cleaned.get("full_load_c")
        if low is not None and high is not None and low >= high:
            self.add_error("full_load_c", "It must be warmer than where cooling begins.")
        return cleaned
