"""The catalogue's shelf: one narrow row a unit and audience, derived, so that facets and sorting need no joins."""

from __future__ import annotations

from secrets import randbits

from django.db import models

from units.models.bench import Bench
from units.models.unit import Unit


def new_stamp() -> int:
    """Return a number that no other row is likely to have."""
    return randbits(31)


class CatalogueEntry(models.Model):
    """What the catalogue lists of a unit: to all from its published points, to its bench from all of its points.

    Nothing but `units.shelf` writes here, and all of it can be thrown away and made again.
    """

    bench_path = "bench"

    class Audience(models.TextChoices):
        """Who is shown the row."""

        PUBLIC = "public", "Everyone"
        BENCH = "bench", "The unit's bench"

    unit = models.ForeignKey(Unit, models.CASCADE, related_name="entries")
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="+")
    audience = models.CharField(max_length=6, choices=Audience)
    name = models.CharField(max_length=162)
    search = models.TextField(help_text="Lower case: maker, model, refrigerant, tags")
    tags = models.TextField(blank=True, help_text="Between bars, as |quiet|series:Nord|")
    kind = models.CharField(max_length=24)
    compressor = models.CharField(max_length=16)
    refrigerant = models.CharField(max_length=16)
    obtained = models.CharField(max_length=12)
    capacity_class = models.CharField(max_length=20)
    voltage_class = models.CharField(max_length=12)
    price_class = models.CharField(max_length=24)
    sound_class = models.CharField(max_length=20)
    bands = models.PositiveIntegerField(default=0, help_text="One bit for each band of outdoor temperature tested")
    claimed_capacity_w = models.FloatField(null=True)
    claimed_eer = models.FloatField(null=True)
    capacity_w = models.FloatField(null=True)
    capacity_u95_w = models.FloatField(null=True)
    capacity_kind = models.CharField(max_length=9, blank=True)
    eer = models.FloatField(null=True)
    eer_u95 = models.FloatField(null=True)
    ratio = models.FloatField(null=True, help_text="Measured capacity to claimed, at a comparable condition only")
    ratio_u95 = models.FloatField(null=True)
    room_temp_c = models.FloatField(null=True)
    outdoor_temp_c = models.FloatField(null=True)
    corrected = models.BooleanField(default=False, help_text="Brought to the claim's rating condition")
    comparable = models.BooleanField(default=False, help_text="Corrected, or tested near the claim's condition")
    point_count = models.PositiveIntegerField(default=0)
    explained = models.BooleanField(default=False, help_text="Some point's shortfall is explained")
    pooling = models.PositiveSmallIntegerField(default=0, help_text="`units.pooled.POOLING` when its figures were made")
    stamp = models.PositiveIntegerField(default=new_stamp, help_text="The sum of all tells whether anything changed")
    is_synthetic = models.BooleanField(default=False)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.UniqueConstraint(fields=["unit", "audience"], name="a_unit_has_one_entry_for_each_audience"),
        ]
        indexes = [
            models.Index(fields=["audience", "name", "id"], name="entry_by_name"),
            models.Index(fields=["bench", "audience"], name="entry_by_bench"),
            models.Index(fields=["stamp"], name="entry_by_stamp"),
        ]

    def __str__(self) -> str:
        return self.name
