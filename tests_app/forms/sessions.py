"""Forms of a session as a whole."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django import forms

from tests_app.models import Session
from units.models import Bench


class ZoneField(forms.CharField):
    """An IANA time zone, typed with suggestions."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"list": "zones", "autocomplete": "off", "spellcheck": "false"})
        super().__init__(max_length=64, widget=widget, **kwargs)

    def clean(self, value: str) -> str:
        """Return the zone's name, or say how one is written."""
        value = super().clean(value)
        if value and value not in available_timezones():
            raise forms.ValidationError(
                f"“{value}” is not in the IANA list of zones. Write region and city, such as America/Denver, or UTC."
            )
        return str(ZoneInfo(value)) if value else value


class Instant(forms.DateTimeField):
    """A date and time in the session's zone."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local", "step": 1}, format="%Y-%m-%dT%H:%M:%S")
        super().__init__(widget=widget, **kwargs)

    def clean(self, value: Any) -> datetime | None:
        """Return the instant in UTC, as the session document keeps it."""
        instant = super().clean(value)
        return instant and instant.astimezone(UTC)


class SessionForm(forms.Form):
    """What a session is about."""

    name = forms.CharField(max_length=120, help_text="Such as “Unit at 35 °C, high fan”.")
    unit = forms.ModelChoiceField(None, required=False, empty_label="Not named yet", help_text="Can be attached later.")
    room = forms.ModelChoiceField(None, required=False, empty_label="Not chosen yet")
    purpose = forms.ChoiceField(choices=Session._meta.get_field("purpose").choices)
    time_zone = ZoneField(
        label="Time zone of the loggers", help_text="For time stamps that carry no zone; type a city."
    )

    def __init__(self, *args: Any, bench: Bench, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["unit"].queryset = bench.units.all()
        self.fields["room"].queryset = bench.rooms.all()
