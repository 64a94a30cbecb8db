"""Long work as a person sees it: waiting, running, done, failed."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from tests_app.models.reduction import Reduction
from tests_app.models.session import Session
from units.models import Bench

TITLES = {
    "reduction": "Reduction",
    "rereduction": "Results made again",
    "export": "Export",
    "look": "Looking at an archive",
    "arrival": "Bringing a bench in",
}


class Job(models.Model):
    """Progress of one task. Evidence and results are elsewhere; a job may be deleted."""

    bench_path = "bench"
    person_path = "asked_by"

    class State(models.TextChoices):
        """Where the work stands."""

        WAITING = "waiting", "Waiting"
        RUNNING = "running", "Running"
        DONE = "done", "Done"
        FAILED = "failed", "Failed"
        CANCELLED = "cancelled", "Cancelled"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    bench = models.ForeignKey(
        Bench, models.CASCADE, null=True, related_name="jobs", help_text="None while a bench is still to come in"
    )
    session = models.ForeignKey(Session, models.CASCADE, null=True, blank=True, related_name="jobs")
    what = models.CharField(max_length=40)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    done_steps = models.PositiveIntegerField(default=0)
    total_steps = models.PositiveIntegerField(default=0)
    message = models.TextField(blank=True)
    detail = models.JSONField(
        default=dict, blank=True, help_text="What a task over many sessions did, session by session"
    )
    reduction = models.ForeignKey(Reduction, models.SET_NULL, null=True, blank=True, related_name="+")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    task_id = models.CharField(max_length=64, blank=True, help_text="The task that does it, in the queue")
    attempts = models.PositiveIntegerField(default=0, help_text="How often a worker took it up")
    heard_at = models.DateTimeField(auto_now=True, help_text="When whoever works on it last said so")
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-asked_at"]

    def __str__(self) -> str:
        return TITLES.get(self.what, self.what.capitalize())

    @property
    def is_open(self) -> bool:
        """Say whether it waits or runs."""
        return self.state in (self.State.WAITING, self.State.RUNNING)
