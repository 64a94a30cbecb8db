"""One form a channel: what it measures, in what, with which instrument, where."""

from __future__ import annotations

from typing import Any

from django import forms

from reduction.readers.vocabulary import STATE, find_unit
from reduction.session import HeaterKind, SampleKind
from tests_app.models import Channel
from tests_app.words import KIND_WORDS, ROLE_GROUPS, role_label
from units.models import Instrument

ROLE_CHOICES = [(group, [(role, role_label(role)) for role in roles]) for group, roles in ROLE_GROUPS.items()]
KIND_CHOICES = [("", "As read")] + [(kind.value, KIND_WORDS[kind.value]) for kind in SampleKind]
HEATER_CHOICES = [("", "As the session")] + [(kind.value, kind.value.replace("_", " ")) for kind in HeaterKind]


class ChannelForm(forms.Form):
    """What a person says one channel is."""

    role = forms.ChoiceField(label="Measures", choices=ROLE_CHOICES)
    quantity_unit = forms.CharField(
        label="Unit", required=False, max_length=16, widget=forms.TextInput(attrs={"list": "quantity-units"})
    )
    kind = forms.ChoiceField(label="A row is", required=False, choices=KIND_CHOICES)
    instrument = forms.TypedChoiceField(label="Instrument", required=False, empty_value=None)
    place = forms.CharField(
        label="Place", required=False, max_length=80, help_text="For a neighbour: the name a surface refers to"
    )
    placement_u_c = forms.FloatField(
        label="Placement u (K)",
        required=False,
        min_value=0,
        help_text="How well this place stands for what it is to measure",
    )
    heater_kind = forms.ChoiceField(label="Heater", required=False, choices=HEATER_CHOICES)
    is_difference = forms.BooleanField(label="Is a difference of two temperatures", required=False)

    def __init__(self, data: Any = None, *, channel: Channel, instruments: list[Instrument]) -> None:
        initial = {name: getattr(channel, name) for name in self.base_fields} | {"instrument": channel.instrument_id}
        super().__init__(data, prefix=channel.pk.hex, initial=initial)
        self.channel = channel
        rows = {str(row.pk): row for row in instruments}
        self.fields["instrument"].choices = [("", "None stated"), *((pk, row.name) for pk, row in rows.items())]
        self.fields["instrument"].coerce = rows.get
        for field in self.fields.values():
            field.widget.attrs["aria-label"] = f"{field.label} of {channel.column}"

    def clean_quantity_unit(self) -> str:
        """Return the unit as this program writes it; words such as on and off have the reader's own mark."""
        text = self.cleaned_data["quantity_unit"].strip()
        if text == STATE:
            return text
        unit = find_unit(text) if text else None
        if text and unit is None:
            raise forms.ValidationError(f"“{text}” is not a unit this program knows; choose one of the list.")
        return unit.symbol if unit else ""

    def clean_placement_u_c(self) -> float:
        """Return zero for an empty field."""
        return self.cleaned_data["placement_u_c"] or 0.0
