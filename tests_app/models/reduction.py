"""One run of a method version over one session's evidence."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from tests_app.models.session import Session
from units.models.immutable import Immutable, WrittenOnceQuerySet


class ReductionQuerySet(WrittenOnceQuerySet):
    """Reductions, and which of them stand."""

    def current(self) -> ReductionQuerySet:
        """Return the newest of each session: those that nothing supersedes."""
        return self.filter(superseded_by__isnull=True)


class Reduction(Immutable):
    """Immutable: created with its points when the work is done, superseded by a later one, never edited."""

    bench_path = "session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, models.PROTECT, related_name="reductions")
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, related_name="superseded_by")
    method_version = models.CharField(max_length=20)
    input_sha256 = models.CharField(max_length=64, help_text="Digest of the session document with its files' digests")
    document = models.JSONField(help_text="The session document that was reduced")
    result = models.JSONField(help_text="The full result")
    reduced_at = models.DateTimeField()
    reduced_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    aligned = models.CharField(max_length=200, blank=True, help_text="Stored name of the aligned Parquet file")

    objects = ReductionQuerySet.as_manager()

    class Meta:
        ordering = ["-reduced_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["session"],
                condition=Q(supersedes__isnull=True),
                name="a_session_has_one_first_reduction",
            ),
        ]
