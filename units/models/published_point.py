"""The narrow public table that comparison reads: one row a published point."""

from __future__ import annotations

from django.db import models

from units.models.edition import Edition
from units.models.unit import Unit


class PublishedPoint(models.Model):
    """A point of the current edition of a review, with what the catalogue needs and nothing private."""

    bench_path = "unit__bench"

    edition = models.ForeignKey(Edition, models.PROTECT, related_name="points")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="published_points")
    label = models.CharField(max_length=80)
    room_temp_c = models.FloatField()
    room_wet_bulb_c = models.FloatField(null=True)
    room_rh_percent = models.FloatField(null=True)
    outdoor_temp_c = models.FloatField(null=True)
    capacity_w = models.FloatField()
    capacity_u95_w = models.FloatField()
    capacity_kind = models.CharField(max_length=9)
    power_w = models.FloatField()
    power_u95_w = models.FloatField()
    eer_btu_per_wh = models.FloatField(null=True)
    eer_u95 = models.FloatField(null=True)
    cop = models.FloatField(null=True)
    cop_u95 = models.FloatField(null=True)
    limit = models.CharField(max_length=24)
    rated_capacity_w = models.FloatField(null=True, help_text="Brought to the claim's rating condition")
    rated_capacity_u95_w = models.FloatField(null=True)
    rated_eer_btu_per_wh = models.FloatField(null=True)
    rated_eer_u95 = models.FloatField(null=True)
    measured_at = models.DateTimeField()
    is_current = models.BooleanField(default=True)
    detail = models.JSONField(
        default=dict,
        blank=True,
        help_text="Of reduction.session.Point what a comparison shows: ratings, shortfall, verdicts, budget",
    )

    class Meta:
        ordering = ["unit", "measured_at", "id"]
        indexes = [
            models.Index(fields=["is_current", "outdoor_temp_c", "unit"]),
            models.Index(fields=["unit", "is_current"]),
        ]
