"""Form fields that read quantities as people write them."""

from __future__ import annotations

import re

from django import forms
from django.core.exceptions import ValidationError

from reduction.ground.constants import celsius_from_fahrenheit, fahrenheit_from_celsius
from units.quantities import METRIC, Display

_WRITTEN = re.compile(r"^([-−+]?\d+(?:[.,]\d+)?)\s*°?\s*([CF])?$", re.IGNORECASE)


class TemperatureField(forms.Field):
    """A temperature in the reader's scale, or in the one written after it: `35`, `95 °F`. Cleans to °C."""

    widget = forms.TextInput
    display: Display = METRIC

    def __init__(self, *, lowest_c: float = -40.0, highest_c: float = 70.0, **kwargs) -> None:
        super().__init__(**kwargs)
        self.lowest_c, self.highest_c = lowest_c, highest_c

    def widget_attrs(self, widget: forms.Widget) -> dict[str, object]:
        """Ask a phone for its number keys."""
        return {"inputmode": "decimal", "autocomplete": "off", "size": 8}

    def prepare_value(self, value: object) -> object:
        """Show what is stored in the reader's scale, and what was typed as typed."""
        if not isinstance(value, float | int):
            return value
        shown = fahrenheit_from_celsius(value) if self.display.temperature == "F" else value
        return f"{round(shown, 2):g} {self.display.temp_symbol}"

    def to_python(self, value: str | None) -> float | None:
        """Return °C."""
        text = (value or "").strip()
        if not text:
            return None
        written = _WRITTEN.match(text)
        if written is None:
            raise ValidationError(f"“{text}” is no temperature. Write 35 or 95 °F.")
        number = float(written[1].replace(",", ".").replace("−", "-"))
        fahrenheit = (written[2] or self.display.temperature).upper() == "F"
        celsius = round(celsius_from_fahrenheit(number), 4) if fahrenheit else number
        if not self.lowest_c <= celsius <= self.highest_c:
            raise ValidationError(
                f"“{text}” is {celsius:.0f} °C, outside {self.lowest_c:.0f} to {self.highest_c:.0f} °C."
            )
        return celsius


def in_readers_scale(form: forms.BaseForm, display: Display) -> None:
    """Tell a form's temperature fields which scale a bare number is in."""
    for field in form.fields.values():
        if isinstance(field, TemperatureField):
            field.display = display


def date_picker() -> forms.DateInput:
    """Return the browser's own date picker."""
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
