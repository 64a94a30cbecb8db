"""A room and what is known of it."""

from __future__ import annotations

from typing import Any

from django import forms

from units.forms.fields import date_picker
from units.models import Room, RoomValue

KJ = 1000.0


class RoomForm(forms.ModelForm):
    """Size and construction."""

    class Meta:
        model = Room
        fields = ["name", "volume_m3", "floor_m2", "construction", "notes"]
        labels = {"volume_m3": "Volume (m³)", "floor_m2": "Floor (m²)"}
        widgets = {"notes": forms.Textarea(attrs={"rows": 2})}

    def clean_volume_m3(self) -> float:
        """Refuse what is no room."""
        volume = self.cleaned_data["volume_m3"]
        if not 3 <= volume <= 2000:  # from a cupboard to a hall; common practice
            raise forms.ValidationError(f"{volume:g} m³ is no test room: 3 to 2,000 m³ is.")
        return volume


class RoomValueForm(forms.ModelForm):
    """What was found on a day; a later finding gets a form of its own."""

    c_eff_kj_per_k = forms.FloatField(
        label="Heat capacity C (kJ/K)", required=False, min_value=1, help_text="Of air and what warms with it."
    )
    c_eff_u95_kj_per_k = forms.FloatField(label="± C (kJ/K, 95 %)", required=False, min_value=0)

    class Meta:
        model = RoomValue
        fields = ["valid_from", "found_by", "c_eff_kj_per_k", "c_eff_u95_kj_per_k", "includes_infiltration"]
        labels = {
            "valid_from": "Valid from",
            "found_by": "How found",
            "includes_infiltration": "The conductances include air that leaks in",
        }
        help_texts = {"found_by": "Co-heating run, off run, decay, or an estimate: say which."}
        widgets = {"valid_from": date_picker()}

    def clean(self) -> dict[str, Any]:
        """Bring C to J/K; a value needs its uncertainty."""
        cleaned = super().clean()
        value, u95 = cleaned.get("c_eff_kj_per_k"), cleaned.get("c_eff_u95_kj_per_k")
        if (value is None) != (u95 is None):
            self.add_error("c_eff_u95_kj_per_k", "A heat capacity and its ± belong together: give both or neither.")
        self.instance.c_eff_j_per_k = None if value is None else value * KJ
        self.instance.c_eff_u95_j_per_k = None if u95 is None else u95 * KJ
        return cleaned


class SurfaceForm(forms.Form):
    """One conductance to one neighbour."""

    to = forms.CharField(
        label="To", max_length=60, required=False, help_text="outdoor, or the place of an adjacent-room sensor."
    )
    ua_w_per_k = forms.FloatField(label="UA (W/K)", min_value=0, max_value=2000, required=False)
    u95_w_per_k = forms.FloatField(label="± UA (W/K, 95 %)", min_value=0, max_value=2000, required=False)

    legend = "Surface"

    def clean(self) -> dict[str, Any]:
        """Want all three or none."""
        cleaned = super().clean()
        given = [cleaned.get(name) not in (None, "") for name in ("to", "ua_w_per_k", "u95_w_per_k")]
        if any(given) and not all(given) and not self.errors:
            raise forms.ValidationError("A surface needs its neighbour, its UA and the ± of UA.")
        return cleaned


class _Surfaces(forms.BaseFormSet):
    def clean(self) -> None:
        """Refuse two rows for one neighbour, and no row at all."""
        if any(self.errors):
            return
        names = [form.cleaned_data["to"] for form in self.forms if form.cleaned_data.get("to")]
        if not names:
            raise forms.ValidationError("Give at least one surface, usually “outdoor”.")
        if len(set(names)) < len(names):
            raise forms.ValidationError("Each neighbour has one row: add the conductances of a neighbour up.")

    @property
    def surfaces(self) -> list[dict[str, Any]]:
        """The rows as the session document has them."""
        return [
            {name: form.cleaned_data[name] for name in ("to", "ua_w_per_k", "u95_w_per_k")}
            for form in self.forms
            if form.cleaned_data.get("to")
        ]


SurfaceFormSet = forms.formset_factory(SurfaceForm, formset=_Surfaces, extra=4, max_num=12)
