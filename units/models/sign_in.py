"""A sign-in that failed, kept for as long as it slows down the next."""

from __future__ import annotations

from django.db import models


class SignInFailure(models.Model):
    """Who was tried from where, as keyed digests: the table names no account and no address."""

    name_digest = models.CharField(max_length=64)
    address_digest = models.CharField(max_length=64)
    failed_at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["name_digest", "failed_at"]),
            models.Index(fields=["address_digest", "failed_at"]),
        ]
