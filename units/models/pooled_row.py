"""A unit's pooled figures, kept beside its row on the shelf, so that a comparison of many reads one row of each."""

from __future__ import annotations

from django.db import models

from units.models.catalogue_entry import CatalogueEntry


class PooledRow(models.Model):
    """What an entry's points say together on one basis; `units.pooled.PooledFigure` says what each column means.

    Nothing but `units.shelf` writes here, and all of it can be thrown away and made again.
    """

    bench_path = "entry__bench"

    entry = models.ForeignKey(CatalogueEntry, models.CASCADE, related_name="pooled")
    at = models.CharField(max_length=12, help_text="The rating condition, or a band of outdoor temperature")
    capacity_w = models.FloatField()
    capacity_u_w = models.FloatField()
    capacity_kind = models.CharField(max_length=9)
    eer = models.FloatField(null=True)
    eer_u = models.FloatField(null=True)
    consistent = models.BooleanField()
    to_claim = models.BooleanField()
    bases = models.JSONField()
    capacity_tolerance = models.FloatField(null=True)
    eer_tolerance = models.FloatField(null=True)
    n_points = models.PositiveIntegerField()
    shared = models.JSONField()
    eer_shared = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["entry", "at"], name="an_entry_is_pooled_once_on_a_basis")]

    def __str__(self) -> str:
        return f"{self.entry}, {self.at}"
