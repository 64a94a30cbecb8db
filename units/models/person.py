"""A person who signs in."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models


class Person(AbstractUser):
    """A user of our own from the first migration on, so that it can grow."""

    temperature_unit = models.CharField(max_length=2, default="C", choices=[("C", "°C"), ("F", "°F")])
    power_unit = models.CharField(max_length=6, default="W", choices=[("W", "W"), ("Btu/h", "Btu/h")])
    times_signed_out = models.PositiveIntegerField(default=0, help_text="Of all browsers at once")

    def get_session_auth_hash(self) -> str:
        """Return what a session must carry to hold: another after each change of password or sign-out everywhere."""
        own = f".{self.times_signed_out}" if self.times_signed_out else ""
        return super().get_session_auth_hash() + own
