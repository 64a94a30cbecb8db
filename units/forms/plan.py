"""What a tester asks of a plan: unit or nameplate, room, conditions, circuits, instruments, stop limits."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from reduction import session as doc
from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.ground.tables import number, table
from reduction.planning.circuits import Circuit
from reduction.planning.plan_request import Equipment, PlanRequest
from tests_app import session_document
from units.forms.fields import TemperatureField, in_readers_scale
from units.forms.unit import PLAUSIBLE
from units.models import Instrument, Room, Unit
from units.quantities import METRIC, Display

MOST_TARGETS = 6
HEATERS = [("fan_forced", "fan-forced"), ("convector", "convector"), ("oil_filled", "oil-filled"),
           ("radiant", "radiant"), ("unknown", "not known")]  # fmt: skip
METERS = {"heater_meter": "power", "unit_meter": "power", "thermometer": "temperature"}
START = {
    "capacity": "8000", "capacity_unit": "Btu/h", "efficiency": "11", "efficiency_unit": "eer", "kind": "window",
    "compressor": "unknown", "volume_m3": "34", "construction": "light", "other_loads_w": "60", "people": "0",
    "window_min": "60", "heater_kind": "fan_forced", "plug_percent": "1.5", "plug_w": "1", "thermometer_k": "0.3",
    "room_sensors": "2", "logs_supply_and_return": "on",
    "circuits-0-count": "3", "circuits-0-rating_a": "15", "circuits-0-volts": "120",
}  # fmt: skip


def _number(label: str, low: float, high: float, **more: Any) -> forms.FloatField:
    return forms.FloatField(
        label=label, min_value=low, max_value=high, widget=forms.NumberInput({"step": "any"}), **more
    )


def _optional(label: str, low: float, high: float, **more: Any) -> forms.FloatField:
    return _number(label, low, high, required=False, **more)


class PlanForm(forms.Form):
    """One plan. Everything is in the address, so that a plan can be kept as a link."""

    unit = forms.ModelChoiceField(Unit.objects.none(), required=False, empty_label="type its nameplate")
    capacity = _optional("Claimed capacity", 1, 200_000)
    capacity_unit = forms.ChoiceField(label="Capacity in", choices=[("Btu/h", "Btu/h"), ("W", "W")], required=False)
    efficiency = _optional("Claimed efficiency or power", 0.1, 30_000)
    efficiency_unit = forms.ChoiceField(
        label="Which is",
        choices=[("eer", "EER, Btu/(W·h)"), ("cop", "COP, W/W"), ("power", "power, W")],
        required=False,
    )
    kind = forms.ChoiceField(choices=Unit.Kind, required=False)
    compressor = forms.ChoiceField(choices=Unit.Compressor, required=False)
    refrigerant = forms.CharField(max_length=16, required=False, help_text="As on the plate: R-32.")
    air_flow_m3_per_h = _optional("Air flow (m³/h)", 20, 10_000)

    room = forms.ModelChoiceField(Room.objects.none(), required=False, empty_label="type its size")
    volume_m3 = _optional("Volume (m³)", 3, 2000)
    construction = forms.ChoiceField(choices=Room.Construction, required=False)
    adjacent_temp_c = TemperatureField(label="Rooms around", required=False)
    start_room_temp_c = TemperatureField(label="Room before the test", required=False)
    outdoor_drift_k_per_h = _optional("Outdoors changes by (K an hour)", 0, 10)
    people = forms.IntegerField(label="People in the room", min_value=0, max_value=20, required=False)
    other_loads_w = _optional("Fan, loggers, lamps (W)", 0, 5000)

    ratings = forms.MultipleChoiceField(
        label="Rating conditions",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=lambda: [(row["name"], row["title"]) for row in table("rating_conditions")],
    )
    window_min = _number("Window (min)", 10, 1440)
    wanted_u95_w = _optional("Wanted ± of capacity (W)", 1, 5000)

    heater_kind = forms.ChoiceField(label="Heaters", choices=HEATERS)
    heater_meter = forms.ModelChoiceField(Instrument.objects.none(), required=False, empty_label="as typed")
    unit_meter = forms.ModelChoiceField(
        Instrument.objects.none(), label="The unit's plug", required=False, empty_label="as typed"
    )
    thermometer = forms.ModelChoiceField(Instrument.objects.none(), required=False, empty_label="as typed")
    plug_percent = _number("Plugs good for (± % of reading)", 0, 50)
    plug_w = _number("and (± W)", 0, 100)
    thermometer_k = _number("Thermometers good for (± K)", 0, 5)
    room_sensors = forms.IntegerField(label="Thermometers in the room", min_value=1, max_value=20)
    logs_supply_and_return = forms.BooleanField(label="Supply and return air are logged", required=False)

    stop_room_temp_c = TemperatureField(label="Room above", required=False)
    stop_inlet_temp_c = TemperatureField(label="Condenser inlet above", required=False, highest_c=80.0)
    stop_plug_temp_c = TemperatureField(label="A plug above", required=False, highest_c=90.0)
    stop_silence_min = _optional("Minutes without data", 1, 120)

    def __init__(
        self, *args: Any, rows: dict[str, Any] | None = None, display: Display = METRIC, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        in_readers_scale(self, display)
        for name, queryset in (rows or {}).items():
            self.fields[name].queryset = queryset
        for name in [name for name in ("unit", "room", *METERS) if rows is None or not rows[name].exists()]:
            del self.fields[name]

    def clean(self) -> dict[str, Any]:
        """Want a unit or a capacity, a room or a volume."""
        cleaned = super().clean()
        if not cleaned.get("unit"):
            if cleaned.get("capacity") is None and "capacity" not in self.errors:
                self.add_error("capacity", "Give the capacity on the nameplate, or choose a unit.")
            self._refuse_implausible(cleaned)
        if not cleaned.get("room") and cleaned.get("volume_m3") is None and "volume_m3" not in self.errors:
            self.add_error("volume_m3", "Give the room's volume, or choose a room.")
        return cleaned

    def _refuse_implausible(self, cleaned: dict[str, Any]) -> None:
        """Refuse a nameplate whose figures, each alone possible, belong to no air conditioner."""
        capacity, efficiency = cleaned.get("capacity"), cleaned.get("efficiency")
        if capacity is not None:
            low, high, unit = PLAUSIBLE["capacity"]
            watts = capacity / (1.0 if cleaned.get("capacity_unit") == "W" else BTU_PER_H_PER_W)
            if not low <= watts <= high:
                self.add_error("capacity", f"That is {watts:.4g} W; a room air conditioner has {low} to {high} {unit}.")
        if efficiency is not None:
            quantity = cleaned.get("efficiency_unit") or "eer"
            low, high, unit = PLAUSIBLE[quantity]
            if not low <= efficiency <= high:
                self.add_error("efficiency", f"{efficiency:g} {unit} is outside {low:g} to {high:g} {unit}.")

    # --- as a document ------------------------------------------------------------------------------------------

    def unit_document(self) -> doc.UnitUnderTest:
        """Return the chosen unit, or the one that the typed nameplate describes."""
        cleaned = self.cleaned_data
        if cleaned.get("unit"):
            return session_document.describe_unit(cleaned["unit"])
        claims = [
            doc.Claim(quantity="capacity", value=cleaned["capacity"], quantity_unit=cleaned["capacity_unit"] or "Btu/h")
        ]
        if cleaned["efficiency"]:
            quantity = cleaned["efficiency_unit"] or "eer"
            unit = {"eer": "Btu/(W·h)", "cop": "W/W", "power": "W"}[quantity]
            claims.append(doc.Claim(quantity=quantity, value=cleaned["efficiency"], quantity_unit=unit))
        return doc.UnitUnderTest(
            model="as typed",
            kind=cleaned["kind"] or doc.UnitKind.WINDOW,
            compressor=cleaned["compressor"] or doc.Compressor.UNKNOWN,
            refrigerant=cleaned["refrigerant"],
            claims=tuple(claims),
            claimed_air_flow_m3_per_h=cleaned["air_flow_m3_per_h"],
        )

    def room_document(self, today: date) -> doc.Room:
        """Return the chosen room as it is known today, or one of the typed size."""
        room = self.cleaned_data.get("room")
        if room:
            return session_document.describe_room(room, today)
        return doc.Room(
            volume_m3=self.cleaned_data["volume_m3"], construction=self.cleaned_data["construction"] or "unknown"
        )

    def equipment(self, today: date) -> Equipment:
        """Return the chosen instruments, each with the calibration that holds today, or the typed limits."""
        cleaned, usual = self.cleaned_data, Equipment()
        plug = {"gain_limit": cleaned["plug_percent"] / 100, "offset_limit": cleaned["plug_w"]}
        typed = {"heater_meter": plug, "unit_meter": plug, "thermometer": {"offset_limit": cleaned["thermometer_k"]}}
        chosen = {
            name: session_document.describe_instrument(cleaned[name], today)
            if cleaned.get(name)
            else getattr(usual, name).model_copy(update=limits)
            for name, limits in typed.items()
        }
        same = ("room_sensors", "logs_supply_and_return", "heater_kind")
        return Equipment(**chosen, **{name: cleaned[name] for name in same})


class TargetForm(forms.Form):
    """One condition of one's own."""

    legend = "A condition"
    room_temp_c = TemperatureField(label="Room", required=False)
    room_wet_bulb_c = TemperatureField(label="Room wet bulb", required=False, help_text="Empty: a dry room.")
    outdoor_temp_c = TemperatureField(label="Outdoors", required=False)

    def clean(self) -> dict[str, Any]:
        """Want room and outdoors together, and a wet bulb no higher than the dry one."""
        cleaned = super().clean()
        room, wet, outdoor = (cleaned.get(name) for name in self.fields)
        if (not self.errors and (room is None) != (outdoor is None)) or (wet is not None and room is None):
            raise ValidationError("A condition needs the room's and the outdoor temperature.")
        if wet is not None and room is not None and wet > room:
            self.add_error("room_wet_bulb_c", "A wet bulb is never above the dry bulb.")
        return cleaned


class CircuitForm(forms.Form):
    """Circuits of one kind."""

    legend = "Circuits of one kind"
    count = forms.IntegerField(label="How many", min_value=1, max_value=10, required=False)
    rating_a = _optional("Breaker (A)", 1, 125)
    volts = _optional("Volts", 50, 600)

    def clean(self) -> dict[str, Any]:
        """Want all three or none."""
        cleaned = super().clean()
        given = [cleaned.get(name) is not None for name in self.fields]
        if not self.errors and any(given) and not all(given):
            raise ValidationError("Give number, breaker and volts.")
        return cleaned


TargetFormSet = forms.formset_factory(TargetForm, extra=2, max_num=3, absolute_max=3)
CircuitFormSet = forms.formset_factory(CircuitForm, extra=2, max_num=3, absolute_max=3)
MANAGED = {"TOTAL_FORMS": "2", "INITIAL_FORMS": "0"}


class PlanForms:
    """The plan's form with its rows of conditions and circuits, read from one query string."""

    def __init__(self, query: QueryDict, *, rows: dict[str, Any] | None, display: Display) -> None:
        data = query.copy() if query else QueryDict(mutable=True)
        for name, value in ({} if query else START).items():
            data[name] = value
        for prefix in ("targets", "circuits"):
            for name, value in MANAGED.items():
                data.setdefault(f"{prefix}-{name}", value)
        self.form = PlanForm(data, rows=rows, display=display)
        self.targets = TargetFormSet(data, prefix="targets")
        self.circuits = CircuitFormSet(data, prefix="circuits")
        for row in self.targets.forms:
            in_readers_scale(row, display)

    def is_valid(self) -> bool:
        """Say whether all of it can be planned."""
        valid = all([self.form.is_valid(), self.targets.is_valid(), self.circuits.is_valid()])
        if valid and not self._circuits():
            self.form.add_error(None, "Give at least one circuit: number, breaker and volts.")
        if valid and len(self._conditions()) > MOST_TARGETS:
            self.form.add_error("ratings", f"At most {MOST_TARGETS} conditions in one plan.")
        if valid:
            self._refuse_a_stop_below_the_target()
        return valid and self.form.is_valid()

    def request(self, today: date) -> PlanRequest:
        """Return what is asked, as the command line and the API would ask it."""
        cleaned = self.form.cleaned_data
        return PlanRequest(
            unit=self.form.unit_document(),
            room=self.form.room_document(today),
            targets=self._conditions(),
            adjacent_temp_c=cleaned["adjacent_temp_c"],
            start_room_temp_c=cleaned["start_room_temp_c"],
            outdoor_drift_k_per_h=cleaned["outdoor_drift_k_per_h"] or 0.0,
            circuits=self._circuits(),
            other_loads_w=cleaned["other_loads_w"] or 0.0,
            people=cleaned["people"] or 0,
            window_s=cleaned["window_min"] * 60,
            wanted_u95_w=cleaned["wanted_u95_w"],
            equipment=self.form.equipment(today),
        )

    def _conditions(self) -> tuple[doc.Condition, ...]:
        rated = [row for row in table("rating_conditions") if row["name"] in self.form.cleaned_data["ratings"]]
        named = [
            doc.Condition(
                name=row["title"],
                room_temp_c=number(row["room_temp_c"]),
                room_wet_bulb_c=number(row["room_wet_bulb_c"]),
                outdoor_temp_c=number(row["outdoor_temp_c"]),
            )
            for row in rated
        ]
        own = [row.cleaned_data for row in self.targets.forms if row.cleaned_data.get("room_temp_c") is not None]
        return (*named, *(doc.Condition(**fields) for fields in own))

    def _circuits(self) -> tuple[Circuit, ...]:
        rows = [row.cleaned_data for row in self.circuits.forms if row.cleaned_data.get("count")]
        kinds = [(row["rating_a"], row["volts"]) for row in rows for _ in range(row["count"])]
        return tuple(
            Circuit(name=f"circuit {n} ({amps:g} A, {volts:g} V)", rating_a=amps, volts=volts)
            for n, (amps, volts) in enumerate(kinds, start=1)
        )

    def _refuse_a_stop_below_the_target(self) -> None:
        stop = self.form.cleaned_data.get("stop_room_temp_c")
        hottest = max((each.room_temp_c or 0.0 for each in self._conditions()), default=0.0)
        if stop is not None and stop <= hottest:
            self.form.add_error("stop_room_temp_c", "The room is meant to be that warm: stop above its target.")
