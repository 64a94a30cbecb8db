"""Which session, which span of it, and what the sensors are held against."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms

from reduction.align.timeline import Timeline
from reduction.examine.colocation import SHORTEST_S, TEMPERATURES
from tests_app.forms.sessions import Instant


class ColocationForm(forms.Form):
    """The span in the session's zone; the whole log where it is not said."""

    start = Instant(label="From")
    end = Instant(label="To")
    reference = forms.ChoiceField(required=False, label="Held against")

    def __init__(self, data: Any, *, timeline: Timeline, zone: str) -> None:
        ends = {"start": timeline.start_s, "end": timeline.end_s}
        whole = {
            name: datetime.fromtimestamp(second, UTC).astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M:%S")
            for name, second in ends.items()
        }
        super().__init__({name: data.get(name) or whole.get(name, "") for name in self.base_fields})
        sensors = [(s.key, s.column) for s in timeline.series.values() if s.role in TEMPERATURES]
        self.fields["reference"].choices = [("", "the mean of all"), *sensors]

    def clean(self) -> dict[str, Any]:
        """Want an end after the start."""
        cleaned = super().clean()
        start, end = cleaned.get("start"), cleaned.get("end")
        if start and end and (end - start).total_seconds() < SHORTEST_S:
            self.add_error("end", f"At least {SHORTEST_S / 60:.0f} minutes are needed.")
        return cleaned
