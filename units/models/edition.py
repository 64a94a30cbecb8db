"""A frozen, numbered, hashed publication of a review."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from units.models.immutable import Immutable
from units.models.review import Review


class Edition(Immutable):
    """Written once. A correction is the next number; `withdrawals` are rows of their own."""

    bench_path = "review__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    review = models.ForeignKey(Review, models.PROTECT, related_name="editions")
    number = models.PositiveIntegerField()
    document = models.TextField(help_text="Canonical JSON of everything the page shows")
    sha256 = models.CharField(max_length=64)
    html = models.TextField(help_text="The page as published")
    erratum = models.TextField(blank=True)
    published_at = models.DateTimeField()
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, related_name="superseded_by")

    class Meta:
        base_manager_name = "objects"
        ordering = ["review", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["review", "number"], name="an_edition_has_its_own_number"),
            models.UniqueConstraint(
                fields=["review"], condition=Q(supersedes__isnull=True), name="a_review_has_one_first_edition"
            ),
        ]


class Withdrawal(Immutable):
    """The statement that a review no longer stands, and why; its page stays at its address."""

    bench_path = "review__bench"

    review = models.OneToOneField(Review, models.PROTECT, related_name="withdrawal")
    reason = models.TextField()
    withdrawn_at = models.DateTimeField()

    class Meta:
        base_manager_name = "objects"
