"""Sensors, plugs and loggers with their calibration."""

from __future__ import annotations

import uuid

from django.db import models

from units.models.bench import Bench


class Instrument(models.Model):
    """An instrument as its maker specifies it; fields as `reduction.session.Instrument`."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="instruments")
    name = models.CharField(max_length=60)
    model = models.CharField(max_length=80, blank=True)
    serial = models.CharField(max_length=80, blank=True)
    quantity = models.CharField(max_length=20)
    offset_limit = models.FloatField(default=0.0)
    gain_limit = models.FloatField(default=0.0)
    resolution = models.FloatField(default=0.0)
    distribution = models.CharField(max_length=12, default="rectangular")
    noise = models.FloatField(default=0.0)
    time_constant_s = models.FloatField(default=0.0)
    calibration_interval_days = models.PositiveIntegerField(null=True, blank=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["bench", "name"], name="an_instrument_has_its_own_name_on_a_bench"),
        ]

    def __str__(self) -> str:
        return self.name


class CalibrationRecord(models.Model):
    """A correction found on a day and valid from then on; never edited, a newer one follows."""

    bench_path = "instrument__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    instrument = models.ForeignKey(Instrument, models.CASCADE, related_name="calibrations")
    valid_from = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    how = models.CharField(max_length=120, help_text="Ice point, side-by-side soak, reference plug, certificate")
    offset_correction = models.FloatField(default=0.0, help_text="reading − true, SI")
    offset_correction_u = models.FloatField(null=True, blank=True)
    gain_correction = models.FloatField(default=1.0)
    gain_correction_u = models.FloatField(null=True, blank=True)
    certificate = models.FileField(upload_to="certificates/%Y/", blank=True)
    done_by = models.CharField(max_length=80, blank=True)
    notes = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-valid_from", "-created_at"]

    def __str__(self) -> str:
        return f"{self.instrument} from {self.valid_from}"
