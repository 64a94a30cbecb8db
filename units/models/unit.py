"""One physical sample of an air conditioner."""

from __future__ import annotations

import uuid

from django.db import models

from units.models.bench import Bench


class Tag(models.Model):
    """A word on units, free (`key` empty) or key:value."""

    bench_path = "bench"

    bench = models.ForeignKey(Bench, models.CASCADE, related_name="tags")
    key = models.CharField(max_length=40, blank=True)
    value = models.CharField(max_length=80)

    class Meta:
        ordering = ["key", "value"]
        constraints = [
            models.UniqueConstraint(fields=["bench", "key", "value"], name="a_tag_exists_once_on_a_bench"),
        ]

    def __str__(self) -> str:
        return f"{self.key}:{self.value}" if self.key else self.value


class Unit(models.Model):
    """An air conditioner under test: identity, origin, tags. The serial never leaves the bench."""

    bench_path = "bench"

    class Kind(models.TextChoices):
        """How it is built; the values are those of `reduction.session.UnitKind`."""

        WINDOW = "window", "Window"
        THROUGH_WALL = "through_wall", "Through-wall"
        SINGLE_DUCT_PORTABLE = "single_duct_portable", "Portable, single duct"
        DUAL_DUCT_PORTABLE = "dual_duct_portable", "Portable, dual duct"
        MINI_SPLIT = "mini_split", "Mini-split"

    class Compressor(models.TextChoices):
        """How the compressor is driven."""

        FIXED_SPEED = "fixed_speed", "Fixed speed"
        VARIABLE_SPEED = "variable_speed", "Variable speed"
        UNKNOWN = "unknown", "Unknown"

    class Obtained(models.TextChoices):
        """How the sample came to the bench."""

        BOUGHT = "bought", "Bought at retail"
        LENT = "lent", "Lent by the maker"
        GIVEN = "given", "Given by the maker"
        PAID_TEST = "paid_test", "Paid test"
        OTHER = "other", "Other"

    class Afterwards(models.TextChoices):
        """What becomes of the sample after the test."""

        KEPT = "kept", "Kept"
        RETURNED = "returned", "Returned"
        UNDECIDED = "undecided", "Not yet decided"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="units")
    maker = models.CharField(max_length=80)
    model = models.CharField(max_length=80)
    kind = models.CharField(max_length=24, choices=Kind)
    compressor = models.CharField(max_length=16, choices=Compressor, default=Compressor.UNKNOWN)
    refrigerant = models.CharField(max_length=16, blank=True)
    voltage_v = models.FloatField(null=True, blank=True)
    serial = models.CharField(max_length=80, blank=True)
    obtained = models.CharField(max_length=12, choices=Obtained, blank=True)
    obtained_detail = models.TextField(blank=True)
    afterwards = models.CharField(max_length=12, choices=Afterwards, blank=True)
    price = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    price_currency = models.CharField(max_length=3, blank=True)
    claimed_air_flow_m3_per_h = models.FloatField(null=True, blank=True)
    notes = models.TextField(blank=True)
    is_synthetic = models.BooleanField(default=False)
    is_reference = models.BooleanField(default=False)
    tags = models.ManyToManyField(Tag, blank=True, related_name="units")
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["maker", "model", "id"]
        indexes = [models.Index(fields=["bench", "kind"])]

    def __str__(self) -> str:
        return f"{self.maker} {self.model}"
