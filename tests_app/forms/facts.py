"""What the tester knows beside the logs: loads, people, sun, water, heaters, events."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from django import forms
from django.forms import BaseFormSet, formset_factory

from reduction import session as doc
from reduction.judge.duct_facts import PORTABLE
from reduction.readers import to_si
from tests_app.forms.sessions import Instant
from tests_app.models import Session
from units.forms.fields import TemperatureField, in_readers_scale
from units.quantities import METRIC, Display

HEATERS = {
    "fan_forced": "Fan-forced: air blown through it",
    "convector": "Convector: warm body, no fan",
    "radiant": "Radiant: glowing or panel",
    "oil_filled": "Oil-filled",
    "unknown": "Not known",
}
HUMIDIFIERS = {
    "none": "None",
    "evaporative": "Evaporative: wick or pad",
    "ultrasonic": "Ultrasonic: cold mist",
    "boiling": "Boiling: steam",
}
EVENTS = {
    "note": "Note",
    "door": "Door opened",
    "sun": "Sun came in",
    "fan": "Fan step changed",
    "frost": "Frost seen",
    "set_point": "Set point changed",
    "heater": "Heater changed",
    "exclude": "Leave this span out",
}


MASS = re.compile(r"(\d+(?:[.,]\d+)?)\s*(kg|g|lb|oz)?")


class Amount(forms.FloatField):
    """A quantity that cannot be negative."""

    def __init__(self, label: str, **kwargs: Any) -> None:
        super().__init__(label=label, min_value=0, widget=forms.NumberInput(attrs={"step": "any"}), **kwargs)


class MassField(forms.Field):
    """A mass in kg, or in the unit written after it: `0.8`, `820 g`, `1.8 lb`. Cleans to kg."""

    def to_python(self, value: str | None) -> float | None:
        """Return kg."""
        if not value or not str(value).strip():
            return None
        written = MASS.fullmatch(str(value).strip())
        if written is None:
            raise forms.ValidationError(f"“{value}” is no mass. Write 0.8, 820 g or 1.8 lb.")
        kilograms, _ = to_si(np.array([float(written[1].replace(",", "."))]), written[2] or "kg")
        return round(float(kilograms[0]), 6)


class LoadForm(forms.Form):
    """A steady electric load without a log."""

    what = forms.CharField(label="What", max_length=80)
    power_w = Amount("Power (W)")
    u95_w = Amount("± (W)", help_text="How far off it may be, 19 times in 20")


class PeopleForm(forms.Form):
    """People in the room."""

    count = Amount("People")
    sensible_w_each = Amount("Sensible heat each (W)", required=False, help_text="70 W seated, if left empty")
    latent_w_each = Amount("Moisture heat each (W)", required=False, help_text="45 W, if left empty")
    u95_w_each = Amount("± each (W)", required=False, help_text="30 W, if left empty")
    start_utc = Instant(label="From", required=False)
    end_utc = Instant(label="To", required=False)


class SolarForm(forms.Form):
    """Sun that came in."""

    power_w = Amount("Sun (W)")
    u95_w = Amount("± (W)")
    start_utc = Instant(label="From", required=False)
    end_utc = Instant(label="To", required=False)


class WeighingForm(forms.Form):
    """Water weighed by hand."""

    what = forms.ChoiceField(
        choices=[("condensate", "Condensate from the unit"), ("water_supply", "Water given")], initial="condensate"
    )
    mass_kg = MassField(label="Mass")
    u95_kg = MassField(label="±", help_text="A bare number is kilograms")
    start_utc = Instant(label="From")
    end_utc = Instant(label="To")


class EventForm(forms.Form):
    """Something that happened."""

    time_utc = Instant(label="When")
    end_utc = Instant(label="Until", required=False)
    kind = forms.ChoiceField(choices=EVENTS.items(), initial="note")
    what = forms.CharField(label="What", max_length=200)


class RunForm(forms.Form):
    """Heaters, settings of the unit, water, and what the session knows of the unit."""

    heater_kind = forms.ChoiceField(label="Heaters", choices=HEATERS.items())
    set_room_temp_c = TemperatureField(label="Set point of the unit", required=False)
    fan_step = forms.CharField(label="Fan step", required=False, max_length=40)
    altitude_m = forms.FloatField(label="Altitude (m)", required=False)
    measured_air_flow_m3_per_h = Amount("Measured room air flow (m³/h)", required=False)
    measured_air_flow_u95_m3_per_h = Amount("± (m³/h)", required=False)
    humidifier = forms.ChoiceField(choices=HUMIDIFIERS.items(), required=False)
    water_supply_temp_c = TemperatureField(label="Water given at", required=False, highest_c=100.0)
    condensate_temp_c = TemperatureField(label="Condensate at", required=False)
    condensate_leaves_room = forms.BooleanField(label="Condensate drains out of the room", required=False)
    condensate_on_condenser = forms.NullBooleanField(
        label="Condensate is thrown on the condenser",
        required=False,
        widget=forms.Select(choices=[("unknown", "Not known"), ("true", "Yes"), ("false", "No")]),
    )
    notes = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 3}))


class DuctsForm(forms.Form):
    """A portable's ducts; what its seasonally adjusted capacity asks beside the logs."""

    exhaust_flow_m3_per_h = Amount("Exhaust air flow (m³/h)", required=False, help_text="At its own temperature")
    exhaust_flow_u95_m3_per_h = Amount("± (m³/h)", required=False, help_text="20 %, if left empty")
    exhaust_area_m2 = Amount("Exhaust duct, outer surface (m²)", required=False, help_text="π × diameter × length")
    exhaust_area_u95_m2 = Amount("± (m²)", required=False, help_text="10 %, if left empty")
    exhaust_surface_temp_c = TemperatureField(
        label="Exhaust duct, surface at", required=False, highest_c=90.0, help_text="Mean along it, four places"
    )
    exhaust_surface_u95_c = Amount("± (K)", required=False, help_text="4 K, if left empty")
    intake_flow_m3_per_h = Amount("Intake air flow (m³/h)", required=False, help_text="Of a second duct")
    intake_flow_u95_m3_per_h = Amount("± (m³/h)", required=False)
    intake_area_m2 = Amount("Intake duct, outer surface (m²)", required=False)
    intake_area_u95_m2 = Amount("± (m²)", required=False)
    intake_surface_temp_c = TemperatureField(label="Intake duct, surface at", required=False)
    intake_surface_u95_c = Amount("± (K)", required=False)
    off_cycle_power_w = Amount(
        "Power at the set point (W)", required=False, help_text="Compressor stopped; 1 to 60 W is taken, if left empty"
    )
    off_cycle_power_u95_w = Amount("± (W)", required=False)


SETTINGS = ("set_room_temp_c", "fan_step", "altitude_m")
UNIT_FACTS = ("measured_air_flow_m3_per_h", "measured_air_flow_u95_m3_per_h")
MOISTURE = (
    *("humidifier", "water_supply_temp_c", "condensate_temp_c", "condensate_leaves_room", "condensate_on_condenser"),
)
LISTS = {
    "fixed_loads": ("Fixed loads", LoadForm, "Fans, lamps, loggers, routers: what takes power in the room unlogged."),
    "people": ("People", PeopleForm, "Whoever was in the room while it was measured."),
    "solar": ("Sun", SolarForm, "Only if sun reached the room; better to keep it out."),
    "weighings": ("Weighed water", WeighingForm, "Gives the latent part, and so the total capacity."),
    "events": ("Events", EventForm, "Doors, steps, set points; a span marked to leave out ends a window."),
}


class FactsForms:
    """The forms of the page together: one of single facts, one formset a list."""

    def __init__(self, session: Session, data: Any = None, *, display: Display = METRIC) -> None:
        self.session = session
        self.test = RunForm(data, initial=_known(session), prefix="test")
        in_readers_scale(self.test, display)
        self.ducts = self._ducts(data, display)
        self.lists: dict[str, BaseFormSet] = {}
        for name, (title, form, hint) in LISTS.items():
            rows = session.moisture.get("weighings", []) if name == "weighings" else getattr(session, name)
            factory = formset_factory(form, extra=1, can_delete=True, can_delete_extra=False, max_num=200)
            formset = factory(data, initial=_instants(name, rows), prefix=name)
            formset.title, formset.hint, formset.filled = title, hint, len(rows)
            self.lists[name] = formset

    def _ducts(self, data: Any, display: Display) -> DuctsForm | None:
        """Return the form of the ducts where the unit is a portable, or some are stated already."""
        stated = self.session.unit_facts.get("ducts", {})
        if not stated and (self.session.unit is None or self.session.unit.kind not in PORTABLE):
            return None
        form = DuctsForm(data, initial=stated, prefix="ducts")
        in_readers_scale(form, display)
        return form

    def is_valid(self) -> bool:
        """Check every form, so that all faults are shown at once."""
        single = [form for form in (self.test, self.ducts) if form is not None]
        checked = [form.is_valid() for form in (*single, *self.lists.values())]
        return all(checked)

    def stated(self) -> dict[str, Any]:
        """Return the facts by the session's fields, without what was left empty."""
        facts = {name: _rows(formset) for name, formset in self.lists.items()}
        moisture = _some(self.test.cleaned_data, MOISTURE) | {"weighings": facts.pop("weighings")}
        kept = {k: v for k, v in self.session.reduction_settings.items() if k not in SETTINGS}
        unit = {k: v for k, v in self.session.unit_facts.items() if k not in UNIT_FACTS}
        if self.ducts is not None:
            unit["ducts"] = _some(self.ducts.cleaned_data, tuple(self.ducts.fields))
        return facts | {
            "moisture": moisture,
            "heater_kind": self.test.cleaned_data["heater_kind"],
            "reduction_settings": kept | _some(self.test.cleaned_data, SETTINGS),
            "unit_facts": unit | _some(self.test.cleaned_data, UNIT_FACTS),
            "notes": self.test.cleaned_data["notes"],
        }


def _known(session: Session) -> dict[str, Any]:
    known = session.moisture | session.reduction_settings | session.unit_facts
    return known | {"heater_kind": session.heater_kind, "notes": session.notes}


def _some(data: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: data[name] for name in names if data.get(name) not in (None, "")}


MODELS = {"people": doc.People, "solar": doc.Solar, "weighings": doc.Weighing, "events": doc.Event}


def _instants(name: str, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return stored rows with their instants as such, so that they are shown in the session's zone."""
    model = MODELS.get(name)
    return [model.model_validate(row).model_dump() for row in rows] if model else rows


def _rows(formset: BaseFormSet) -> list[dict[str, Any]]:
    rows = [form.cleaned_data for form in formset if form.has_changed() or form.initial]
    return [
        _some(row, tuple(name for name in row if name != "DELETE")) for row in rows if row and not row.get("DELETE")
    ]
