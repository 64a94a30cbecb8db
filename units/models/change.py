"""What was changed of a unit, when and by whom."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from units.models.unit import Unit


class Change(models.Model):
    """One line of a unit's history; it is added and never edited, and goes only with the unit."""

    bench_path = "unit__bench"

    unit = models.ForeignKey(Unit, models.CASCADE, related_name="changes")
    what = models.CharField(max_length=60)
    before = models.TextField(blank=True)
    after = models.TextField(blank=True)
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    changed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-changed_at", "id"]

    def __str__(self) -> str:
        return f"{self.what}: {self.before} → {self.after}"
