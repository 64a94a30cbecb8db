"""Something the program noticed in a reduction."""

from __future__ import annotations

import uuid

from django.db import models

from tests_app.models.point import Point
from tests_app.models.reduction import Reduction
from units.models.immutable import Immutable


class Finding(Immutable):
    """As `reduction.session.Finding`; of the whole reduction or of one point."""

    bench_path = "reduction__session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    reduction = models.ForeignKey(Reduction, models.CASCADE, related_name="findings")
    point = models.ForeignKey(Point, models.CASCADE, null=True, blank=True, related_name="findings")
    position = models.PositiveIntegerField(default=0)
    code = models.CharField(max_length=60)
    severity = models.CharField(max_length=8)
    sentence = models.TextField()
    subject = models.CharField(max_length=800, blank=True)
    remedy = models.TextField(blank=True)

    class Meta:
        ordering = ["reduction", "position"]
