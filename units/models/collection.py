"""A saved set of units."""

from __future__ import annotations

import uuid

from django.db import models

from units.models.bench import Bench
from units.models.unit import Unit


class Collection(models.Model):
    """Units a person wants to compare again."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="collections")
    name = models.CharField(max_length=80)
    units = models.ManyToManyField(Unit, blank=True, related_name="collections")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
