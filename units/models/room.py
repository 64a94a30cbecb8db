"""A room and what was found of it over time."""

from __future__ import annotations

import uuid

from django.db import models

from units.models.bench import Bench


class Room(models.Model):
    """A room of a bench; its values are dated rows, newest valid one at a session's date counts."""

    bench_path = "bench"

    class Construction(models.TextChoices):
        """How heavy it is built; sets the default bands."""

        VERY_LIGHT = "very_light", "Very light"
        LIGHT = "light", "Light: plasterboard and timber"
        MEDIUM = "medium", "Medium: block and plaster"
        HEAVY = "heavy", "Heavy: concrete, masonry"
        UNKNOWN = "unknown", "Unknown"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="rooms")
    name = models.CharField(max_length=80)
    volume_m3 = models.FloatField()
    floor_m2 = models.FloatField(null=True, blank=True)
    construction = models.CharField(max_length=12, choices=Construction, default=Construction.UNKNOWN)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class RoomValue(models.Model):
    """UA and C of a room as found on a day. Never edited: a newer one is valid from its date on."""

    bench_path = "room__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    room = models.ForeignKey(Room, models.CASCADE, related_name="values")
    valid_from = models.DateField()
    surfaces = models.JSONField(help_text="[{to, ua_w_per_k, u95_w_per_k}], as reduction.session.Surface")
    c_eff_j_per_k = models.FloatField(null=True, blank=True)
    c_eff_u95_j_per_k = models.FloatField(null=True, blank=True)
    slow_mass = models.JSONField(null=True, blank=True, help_text="as reduction.session.SlowMass")
    includes_infiltration = models.BooleanField(default=True)
    infiltration_m3_per_h = models.FloatField(null=True, blank=True)
    infiltration_u95_m3_per_h = models.FloatField(null=True, blank=True)
    infiltration_from = models.CharField(max_length=80, default="outdoor")
    found_by = models.CharField(max_length=200, blank=True)
    found_in = models.ForeignKey("tests_app.Reduction", models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-valid_from", "-created_at"]

    def __str__(self) -> str:
        return f"{self.room} from {self.valid_from}"
