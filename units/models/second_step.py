"""A second step at sign-in: what is kept of a person's code app and spare codes, and which benches ask for it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from units.models.bench import Bench


class SecondStep(models.Model):
    """Asked for once confirmed. The app's key is made of the salt and this installation's secret, and is not kept."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="second_step")
    salt = models.CharField(max_length=64)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_counter = models.BigIntegerField(default=0, help_text="Of the last code taken: each code is taken once")
    recovery = models.JSONField(default=list, help_text="SHA-256 of the recovery codes that are left")

    def __str__(self) -> str:
        return f"second step of {self.person}"


class SecondStepRule(models.Model):
    """From when on a bench opens only to people of it who have a second step; no row, no such rule."""

    bench_path = "bench"

    bench = models.OneToOneField(Bench, models.CASCADE, related_name="second_step_rule")
    begins_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.bench} asks for a second step"
