"""A second step at sign-in: what is kept of a person's code app and of codes for the day it is lost."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class SecondStep(models.Model):
    """Asked for once confirmed. The app's key is made of the salt and this installation's secret, and is not kept."""

    person = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="second_step")
    salt = models.CharField(max_length=64)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_counter = models.BigIntegerField(default=0, help_text="Of the last code taken: each code is taken once")
    recovery = models.JSONField(default=list, help_text="SHA-256 of the recovery codes that are left")

    def __str__(self) -> str:
        return f"second step of {self.person}"
