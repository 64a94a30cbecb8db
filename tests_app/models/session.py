"""One test of one unit in one room."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from units.models import Bench, Room, Unit


class Session(models.Model):
    """The tester's record of a test. Lists without rows of their own keep the shape of `reduction.session`."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="sessions")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="sessions")
    room = models.ForeignKey(Room, models.PROTECT, null=True, blank=True, related_name="sessions")
    name = models.CharField(max_length=120)
    purpose = models.CharField(
        max_length=16,
        default="cooling",
        choices=[
            ("cooling", "Cooling test"),
            ("characterisation", "Room characterisation"),
            ("side_by_side", "Sensors side by side"),
        ],
    )
    time_zone = models.CharField(max_length=64, default="UTC")
    heater_kind = models.CharField(max_length=12, default="unknown")
    fixed_loads = models.JSONField(default=list, blank=True)
    people = models.JSONField(default=list, blank=True)
    solar = models.JSONField(default=list, blank=True)
    moisture = models.JSONField(default=dict, blank=True)
    events = models.JSONField(default=list, blank=True)
    reduction_settings = models.JSONField(default=dict, blank=True)
    unit_facts = models.JSONField(
        default=dict, blank=True, help_text="What this session knows of the unit: measured air flow, bypass factor"
    )
    imported_room = models.JSONField(null=True, blank=True, help_text="Room as an imported document stated it")
    imported_instruments = models.JSONField(null=True, blank=True)
    notes = models.TextField(blank=True)
    is_synthetic = models.BooleanField(default=False)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return self.name
