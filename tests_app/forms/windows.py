"""One form a window, and one to add a window by hand."""

from __future__ import annotations

from typing import Any

from django import forms

from tests_app.forms.sessions import Instant
from tests_app.models import Window


class WindowForm(forms.Form):
    """Ends of a window in the session's zone, and why."""

    start = Instant(label="From")
    end = Instant(label="To")
    reason = forms.CharField(
        label="Why this span", required=False, max_length=500, help_text="Needed where you choose it yourself."
    )

    @classmethod
    def of(cls, window: Window, data: Any = None) -> WindowForm:
        """Return the form of a window as it stands."""
        initial = {name: getattr(window, name) for name in ("start", "end", "reason")}
        return cls(data, initial=initial, prefix=window.pk.hex)


class NewWindowForm(WindowForm):
    """A window by hand."""

    label = forms.CharField(max_length=80, label="Name")
    snap_to_cycles = forms.BooleanField(
        label="Move its ends to the same phase of the heater's cycle", required=False, initial=True
    )
    field_order = ("label", "start", "end", "reason", "snap_to_cycles")
