"""A figure the maker states."""

from __future__ import annotations

import uuid

from django.db import models

from units.models.unit import Unit


class Claim(models.Model):
    """One stated quantity with its condition, basis and where it is stated."""

    bench_path = "unit__bench"

    class Quantity(models.TextChoices):
        """What is claimed; the values are those of `reduction.session.Claim.quantity`."""

        CAPACITY = "capacity", "Cooling capacity"
        POWER = "power", "Power input"
        EER = "eer", "EER"
        COP = "cop", "COP"
        CEER = "ceer", "CEER"
        SEER = "seer", "SEER"
        SACC = "sacc", "SACC"
        SOUND = "sound", "Sound level"
        AIR_FLOW = "air_flow", "Room air flow"
        CURRENT = "current", "Rated current"
        MOISTURE_REMOVAL = "moisture_removal", "Moisture removal"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    unit = models.ForeignKey(Unit, models.CASCADE, related_name="claims")
    quantity = models.CharField(max_length=20, choices=Quantity)
    value = models.FloatField()
    quantity_unit = models.CharField(max_length=16)
    value_si = models.FloatField(help_text="Value in W, W/W, Btu/(W·h) for EER, CEER and SEER, dB(A), m³/h, A, kg/h")
    condition_name = models.CharField(max_length=80, blank=True)
    room_temp_c = models.FloatField(null=True, blank=True)
    room_wet_bulb_c = models.FloatField(null=True, blank=True)
    outdoor_temp_c = models.FloatField(null=True, blank=True)
    outdoor_wet_bulb_c = models.FloatField(null=True, blank=True)
    basis = models.CharField(max_length=160, blank=True)
    stated_in = models.CharField(max_length=200, blank=True)
    stated_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["quantity", "id"]
        indexes = [models.Index(fields=["quantity", "value_si"])]

    def __str__(self) -> str:
        return f"{self.get_quantity_display()} {self.value:g} {self.quantity_unit}"
