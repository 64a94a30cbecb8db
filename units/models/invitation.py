"""How people come to a bench and how it changes hands: links to join, offers to hand over, and a history of both."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from units.models.bench import Bench, Role


class Invitation(models.Model):
    """A link by which one person may join a bench in one role, once. Only a hash of its secret is kept."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="invitations")
    label = models.CharField(max_length=80)
    offered_role = models.CharField(max_length=10, choices=Role, default=Role.READER)
    secret_sha256 = models.CharField(max_length=64, unique=True)
    invited_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return self.label


class Handover(models.Model):
    """An owner's offer to hand the bench to another person, who takes or declines it."""

    class Outcome(models.TextChoices):
        """How an offer ended; an open one has no outcome."""

        TAKEN = "taken", "Taken"
        DECLINED = "declined", "Declined"
        WITHDRAWN = "withdrawn", "Withdrawn"

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="handovers")
    offered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    offered_to = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="handovers")
    stays_as = models.CharField(max_length=10, choices=[*Role.choices[:2]], blank=True)
    offered_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    outcome = models.CharField(max_length=10, choices=Outcome, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-offered_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["bench"], condition=models.Q(outcome=""), name="a_bench_is_offered_to_one_person_at_a_time"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bench} offered to {self.offered_to}"


class BenchChange(models.Model):
    """One line of a bench's history of people; it is added and never edited, and goes only with the bench."""

    bench_path = "bench"

    bench = models.ForeignKey(Bench, models.CASCADE, related_name="changes")
    what = models.CharField(max_length=300)
    changed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    changed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-changed_at", "-id"]

    def __str__(self) -> str:
        return self.what
