"""A column or logged name, with what the tester confirmed."""

from __future__ import annotations

import uuid

from django.db import models

from tests_app.models.evidence import SessionFile
from units.models import Bench, Instrument


class Channel(models.Model):
    """Proposed by the reader, confirmed or overruled by a person."""

    bench_path = "file__session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    file = models.ForeignKey(SessionFile, models.CASCADE, related_name="channels")
    log = models.CharField(max_length=500, blank=True, help_text="Member of an archive; empty: the file itself")
    column = models.CharField(max_length=300)
    role = models.CharField(max_length=28)
    quantity_unit = models.CharField(max_length=40)
    kind = models.CharField(max_length=16)
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True, related_name="channels")
    imported_instrument = models.CharField(
        max_length=80, blank=True, help_text="Id in the session's imported instruments"
    )
    place = models.CharField(max_length=80, blank=True)
    placement_u_c = models.FloatField(default=0.0)
    heater_kind = models.CharField(max_length=12, blank=True)
    is_difference = models.BooleanField(default=False)
    stale_after_s = models.FloatField(null=True, blank=True)
    guesses = models.JSONField(default=list, blank=True)
    confirmed = models.BooleanField(default=False)
    position = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["file", "position"]
        constraints = [
            models.UniqueConstraint(fields=["file", "log", "column"], name="a_column_is_one_channel_of_its_log"),
        ]

    def __str__(self) -> str:
        return self.column


class SavedMapping(models.Model):
    """A confirmed reading of one logger's layout, offered when the same headings come again."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="saved_mappings")
    fingerprint = models.CharField(max_length=64, help_text="Digest of shape and headings")
    name = models.CharField(max_length=120)
    profile = models.JSONField(default=dict)
    channels = models.JSONField(default=list)
    saved_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["bench", "fingerprint"], name="a_layout_has_one_saved_mapping"),
        ]
