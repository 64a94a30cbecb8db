"""A unit, its tags and its claims."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from reduction import session as doc
from reduction.errors import ReductionError
from reduction.ground.tables import number, table
from reduction.judge.claims import claim_in_si
from units.forms.fields import TemperatureField, date_picker, in_readers_scale
from units.models import Claim, Unit
from units.problems import as_form_error
from units.quantities import METRIC, Display

# What is written → how it is offered; one list for all quantities, checked against the quantity when cleaned.
UNIT_CHOICES = [
    ("", "—"),
    ("Power", [("Btu/h", "Btu/h"), ("W", "W"), ("kW", "kW"), ("ton", "ton of refrigeration")]),
    ("Efficiency", [("Btu/(W·h)", "Btu/(W·h)"), ("W/W", "W/W")]),
    ("Other", [(name, name) for name in ("dB(A)", "m³/h", "cfm", "l/s", "A", "L/h", "L/day", "pint/h")]),
]
# Sanity bounds in the quantity's SI unit: far outside any room air conditioner. Common practice, no source.
PLAUSIBLE = {
    "capacity": (200, 60_000, "W"),
    "sacc": (200, 60_000, "W"),
    "power": (20, 30_000, "W"),
    "eer": (1, 40, "Btu/(W·h)"),
    "ceer": (1, 40, "Btu/(W·h)"),
    "seer": (1, 60, "Btu/(W·h)"),
    "cop": (0.3, 12, "W/W"),
    "sound": (10, 110, "dB(A)"),
    "air_flow": (20, 10_000, "m³/h"),
    "current": (0.1, 150, "A"),
    "moisture_removal": (0.01, 30, "kg/h"),
}
TEMPERATURES = ("room_temp_c", "room_wet_bulb_c", "outdoor_temp_c", "outdoor_wet_bulb_c")
MOST_TAGS = 20


def parse_tags(text: str) -> list[tuple[str, str]]:
    """Return `(key, value)` of each tag in `quiet, series:Nord`; a free tag has no key.

    >>> parse_tags("quiet, series: Nord, quiet")
    [('', 'quiet'), ('series', 'Nord')]
    """
    tags: dict[tuple[str, str], None] = {}
    for written in filter(None, (part.strip() for part in text.split(","))):
        key, colon, value = written.partition(":")
        tags[(key.strip(), value.strip()) if colon and key.strip() and value.strip() else ("", written)] = None
    return list(tags)


class UnitForm(forms.ModelForm):
    """Identity, how the sample was obtained, tags."""

    tag_text = forms.CharField(
        label="Tags",
        required=False,
        max_length=1000,
        help_text="Separated by commas; free words, or key:value as in series:Nord.",
    )

    class Meta:
        model = Unit
        fields = [
            "maker", "model", "kind", "compressor", "refrigerant", "voltage_v", "serial", "obtained",
            "obtained_detail", "afterwards", "price", "price_currency", "notes", "is_reference", "is_synthetic",
        ]  # fmt: skip
        labels = {
            "voltage_v": "Voltage (V)",
            "obtained": "How obtained",
            "obtained_detail": "Details",
            "price_currency": "Currency",
            "is_reference": "Reference unit of this bench, run again and again to see drift",
            "is_synthetic": "Invented: label it synthetic wherever it is shown",
        }
        help_texts = {
            "serial": "Never leaves the bench.",
            "notes": "Never leave the bench.",
            "obtained_detail": "Shop and date, who asked, who paid. Published with a review.",
            "price_currency": "Three letters, as EUR.",
            "refrigerant": "As on the plate: R-32, R-290, R-410A.",
        }
        widgets = {"obtained_detail": forms.Textarea(attrs={"rows": 2}), "notes": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk and not self.is_bound and not self.instance._state.adding:
            self.initial["tag_text"] = ", ".join(str(tag) for tag in self.instance.tags.all())
        self.fields["voltage_v"].min_value = 0

    def clean_price_currency(self) -> str:
        """Write a currency in capitals."""
        return self.cleaned_data["price_currency"].upper()

    def clean_refrigerant(self) -> str:
        """Write `r32` as `R-32`, so that one refrigerant is one facet."""
        text = self.cleaned_data["refrigerant"].strip().upper().replace(" ", "")
        return f"R-{text[1:]}" if text[:1] == "R" and text[1:2].isdigit() else text

    def clean_voltage_v(self) -> float | None:
        """Refuse what is no mains voltage."""
        volts = self.cleaned_data["voltage_v"]
        if volts is not None and not 50 <= volts <= 600:  # wider than any mains; common practice
            raise ValidationError(f"{volts:g} V is no mains voltage; 50 to 600 V is.")
        return volts

    def clean_tag_text(self) -> list[tuple[str, str]]:
        """Return the tags."""
        tags = parse_tags(self.cleaned_data["tag_text"])
        if len(tags) > MOST_TAGS:
            raise ValidationError(f"{len(tags)} tags are too many to find anything by; {MOST_TAGS} at most.")
        for key, value in tags:
            if len(key) > 40 or len(value) > 80:  # the columns' widths
                raise ValidationError(f"“{value[:30]}…” is too long for a tag.")
        return tags


class ClaimForm(forms.ModelForm):
    """One stated figure, with the condition it is stated at."""

    quantity_unit = forms.ChoiceField(choices=UNIT_CHOICES, label="Unit")
    rating = forms.ChoiceField(
        label="Condition",
        required=False,
        choices=lambda: [
            ("", "not stated"),
            *((row["title"], row["title"]) for row in table("rating_conditions")),
            ("own", "as below"),
        ],
    )
    room_temp_c = TemperatureField(label="Room", required=False)
    room_wet_bulb_c = TemperatureField(label="Room wet bulb", required=False)
    outdoor_temp_c = TemperatureField(label="Outdoors", required=False)
    outdoor_wet_bulb_c = TemperatureField(label="Outdoor wet bulb", required=False)

    class Meta:
        model = Claim
        fields = [
            "quantity", "value", "quantity_unit", "rating", *TEMPERATURES, "basis", "stated_in", "stated_on",
        ]  # fmt: skip
        labels = {"stated_in": "Stated where", "stated_on": "Stated on"}
        help_texts = {"basis": "The procedure it is stated by.", "stated_in": "Nameplate, box, data sheet."}
        widgets = {"stated_on": date_picker()}

    def __init__(self, *args: Any, display: Display = METRIC, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        in_readers_scale(self, display)
        if self.instance.condition_name:
            titles = {row["title"] for row in table("rating_conditions")}
            self.initial["rating"] = self.instance.condition_name if self.instance.condition_name in titles else "own"
        elif any(getattr(self.instance, name) is not None for name in TEMPERATURES):
            self.initial["rating"] = "own"

    @property
    def legend(self) -> str:
        """Name of the row on the page."""
        return str(self.instance) if not self.instance._state.adding else "Another claim"

    def clean(self) -> dict[str, Any]:
        """Bring the figure to SI and fill in the temperatures of a named condition."""
        cleaned = super().clean()
        if {"quantity", "value", "quantity_unit"} <= cleaned.keys() and cleaned["quantity"]:
            self._bring_to_si(cleaned)
        self._fill_condition(cleaned)
        return cleaned

    def _bring_to_si(self, cleaned: dict[str, Any]) -> None:
        quantity, unit = cleaned["quantity"], cleaned["quantity_unit"]
        try:
            self.instance.value_si = claim_in_si(
                doc.Claim.model_construct(quantity=quantity, value=cleaned["value"], quantity_unit=unit)
            )
        except ReductionError as error:
            as_form_error(self, error, "quantity_unit")
            return
        low, high, si_unit = PLAUSIBLE[quantity]
        if not low <= self.instance.value_si <= high:
            self.add_error(
                "value",
                f"{cleaned['value']:g} {unit} is {self.instance.value_si:.4g} {si_unit}; a room air conditioner "
                f"has {low:g} to {high:g} {si_unit}. Check the figure and its unit.",
            )

    def _fill_condition(self, cleaned: dict[str, Any]) -> None:
        rating = cleaned.get("rating")
        row = next((row for row in table("rating_conditions") if row["title"] == rating), None)
        if row is not None:
            cleaned |= {name: number(row[name]) for name in TEMPERATURES}
        elif rating != "own":
            stated = [name for name in TEMPERATURES if cleaned.get(name) is not None]
            if stated:
                self.add_error("rating", "Temperatures are given: choose “as below”, or empty them.")
        self.instance.condition_name = row["title"] if row else ""
        for place in ("room", "outdoor"):
            dry, wet = cleaned.get(f"{place}_temp_c"), cleaned.get(f"{place}_wet_bulb_c")
            if dry is not None and wet is not None and wet > dry:
                self.add_error(f"{place}_wet_bulb_c", "A wet bulb is never above the dry bulb.")


ClaimFormSet = forms.inlineformset_factory(
    Unit, Claim, form=ClaimForm, extra=3, can_delete=True, can_delete_extra=False
)
