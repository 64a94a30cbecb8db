"""A review in work: text, chosen points, share links and the maker's answer."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from units.models.bench import Bench
from units.models.unit import Unit


class Review(models.Model):
    """The draft. A reader sees only its editions."""

    bench_path = "bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(Bench, models.CASCADE, related_name="reviews")
    slug = models.SlugField(max_length=80, unique=True)
    title = models.CharField(max_length=160)
    summary = models.CharField(max_length=300, blank=True)
    body = models.TextField(blank=True, help_text="Markdown")
    units = models.ManyToManyField(Unit, related_name="reviews")
    points = models.ManyToManyField("tests_app.Point", blank=True, related_name="reviews")
    point_keys = models.JSONField(
        default=dict, blank=True, help_text="Short name of each chosen point, by its id: P1, P2"
    )
    charts = models.JSONField(default=list, blank=True, help_text="Names of the charts that are shown")
    disclosure = models.TextField(blank=True, help_text="How each unit was obtained, who paid, kept or returned")
    answers = models.JSONField(default=dict, blank=True, help_text="Answers to severe findings, by finding id")
    bound_figures = models.JSONField(
        default=dict, blank=True, help_text="Figures in the prose: reference → text as last seen"
    )
    contacts = models.JSONField(
        default=list, blank=True, help_text="Attempts to reach the maker, in order: on, how, what came of it"
    )
    embargo = models.TextField(blank=True, help_text="What was agreed on when and how to publish; empty: nothing")
    publish_raw = models.BooleanField(default=False)
    licence = models.CharField(max_length=40, default="CC BY 4.0")
    updated_at = models.DateTimeField(auto_now=True)
    updated_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["-updated_at"]

    def __str__(self) -> str:
        return self.title


class ShareLink(models.Model):
    """A private, expiring, revocable view of one draft. Only a hash of the secret is kept."""

    bench_path = "review__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    review = models.ForeignKey(Review, models.CASCADE, related_name="share_links")
    secret_sha256 = models.CharField(max_length=64, unique=True)
    label = models.CharField(max_length=80, blank=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    may_comment = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)


class MakerComment(models.Model):
    """What a maker answered through a share link; shown to the owner only until accepted."""

    bench_path = "review__bench"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    review = models.ForeignKey(Review, models.CASCADE, related_name="maker_comments")
    link = models.ForeignKey(ShareLink, models.SET_NULL, null=True, related_name="comments")
    name = models.CharField(max_length=80)
    text = models.TextField(max_length=8000)
    written_at = models.DateTimeField(auto_now_add=True)
    accepted_at = models.DateTimeField(null=True, blank=True)
