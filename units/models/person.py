"""A person who signs in."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models


class Person(AbstractUser):
    """A user of our own from the first migration on, so that it can grow."""

    temperature_unit = models.CharField(max_length=2, default="C", choices=[("C", "°C"), ("F", "°F")])
    power_unit = models.CharField(max_length=6, default="W", choices=[("W", "W"), ("Btu/h", "Btu/h")])
