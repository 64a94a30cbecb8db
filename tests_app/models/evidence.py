"""Files as uploaded, kept byte for byte."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from tests_app.models.session import Session
from units.models import Bench


class Evidence(models.Model):
    """One file's bytes on one bench, named by their digest; the same file twice is one row."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="evidence")
    sha256 = models.CharField(max_length=64)
    size_bytes = models.BigIntegerField()
    stored_as = models.CharField(max_length=200)
    kept_at = models.DateTimeField(auto_now_add=True)
    kept_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["bench", "sha256"], name="the_same_file_is_kept_once_on_a_bench"),
        ]


class SessionFile(models.Model):
    """Evidence as part of a session: the name it came with, how it is read, its clock."""

    bench_path = "session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, models.CASCADE, related_name="files")
    evidence = models.ForeignKey(Evidence, models.PROTECT, related_name="uses")
    name = models.CharField(max_length=200)
    profile = models.JSONField(default=dict, blank=True, help_text="as reduction.session.Profile: what was confirmed")
    clock = models.JSONField(default=dict, blank=True, help_text="as reduction.session.ClockCorrection")
    reading = models.JSONField(
        default=dict, blank=True, help_text="What the reader made of it: guesses, questions, faults"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["added_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["session", "name"], name="a_file_name_is_used_once_in_a_session"),
            models.UniqueConstraint(fields=["session", "evidence"], name="a_file_is_used_once_in_a_session"),
        ]

    def __str__(self) -> str:
        return self.name


class PartialUpload(models.Model):
    """A resumable upload in progress; it expires and leaves nothing."""

    bench_path = "session__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, models.CASCADE, related_name="partial_uploads")
    name = models.CharField(max_length=200)
    size_bytes = models.BigIntegerField()
    received_bytes = models.BigIntegerField(default=0)
    started_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    touched_at = models.DateTimeField(auto_now=True)
