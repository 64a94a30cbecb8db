"""A reviewer's workspace and who may do what in it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models


class Role(models.TextChoices):
    """Roles on a bench, weakest first; each may do all that the ones before it may."""

    READER = "reader", "Reader"
    TESTER = "tester", "Tester"
    OWNER = "owner", "Owner"


class Bench(models.Model):
    """A workspace: nothing crosses benches except what is published."""

    bench_path = ""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=60, unique=True)
    about = models.TextField(blank=True)
    is_synthetic = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)
    delete_after = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Membership(models.Model):
    """One person's role on one bench."""

    bench_path = "bench"

    bench = models.ForeignKey(Bench, models.CASCADE, related_name="memberships")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["bench", "person"], name="a_person_has_one_role_on_a_bench"),
        ]

    def __str__(self) -> str:
        return f"{self.person} is {self.role} of {self.bench}"
