"""A time span that is averaged."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from tests_app.models.session import Session


class Window(models.Model):
    """Proposed as steady, or chosen by hand with a reason. Only accepted ones are reduced."""

    bench_path = "session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, models.CASCADE, related_name="windows")
    label = models.CharField(max_length=80)
    start = models.DateTimeField()
    end = models.DateTimeField()
    proposed = models.BooleanField(default=False)
    accepted = models.BooleanField(default=False)
    steady = models.BooleanField(default=False)
    snap_to_cycles = models.BooleanField(default=True)
    evidence = models.JSONField(default=list, blank=True)
    reason = models.TextField(blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["start"]

    def __str__(self) -> str:
        return self.label

    @property
    def is_drawn(self) -> bool:
        """Whether a timeline shows it: all but those that a person left out."""
        return self.accepted or self.decided_at is None
