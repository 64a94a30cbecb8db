"""One reduced result."""

from __future__ import annotations

import uuid

from django.db import models

from tests_app.models.reduction import Reduction
from units.models import Unit
from units.models.immutable import Immutable, WrittenOnceQuerySet


class PointQuerySet(WrittenOnceQuerySet):
    """Points, and which of them stand."""

    def current(self) -> PointQuerySet:
        """Return the points of each session's newest reduction."""
        return self.filter(reduction__superseded_by__isnull=True)


class Point(Immutable):
    """The columns that are queried; `detail` holds the whole `reduction.session.Point`."""

    bench_path = "reduction__session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    reduction = models.ForeignKey(Reduction, models.CASCADE, related_name="points")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, related_name="points")
    position = models.PositiveIntegerField(default=0)
    label = models.CharField(max_length=100)
    start = models.DateTimeField()
    end = models.DateTimeField()
    usable = models.BooleanField()
    room_temp_c = models.FloatField(null=True)
    room_wet_bulb_c = models.FloatField(null=True)
    room_rh_percent = models.FloatField(null=True)
    outdoor_temp_c = models.FloatField(null=True, help_text="At the condenser's inlet where measured")
    capacity_w = models.FloatField()
    capacity_u95_w = models.FloatField()
    capacity_kind = models.CharField(max_length=9)
    power_w = models.FloatField()
    power_u95_w = models.FloatField()
    cop = models.FloatField(null=True)
    cop_u95 = models.FloatField(null=True)
    eer_btu_per_wh = models.FloatField(null=True)
    eer_u95 = models.FloatField(null=True)
    limit = models.CharField(max_length=24)
    detail = models.JSONField()

    objects = PointQuerySet.as_manager()

    class Meta:
        ordering = ["reduction", "position"]

    def __str__(self) -> str:
        return self.label
