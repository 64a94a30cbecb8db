"""A program's key to one bench."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from units.models.bench import Bench, Role


class ApiToken(models.Model):
    """What a program may do on one bench for one person. Only a hash of the secret is kept."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="api_tokens")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="api_tokens")
    token_role = models.CharField(max_length=10, choices=Role, default=Role.READER)
    label = models.CharField(max_length=80)
    secret_sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at"]

    def __str__(self) -> str:
        return self.label
