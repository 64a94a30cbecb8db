"""How a session's claims are to be judged: each choice of the decision rule, in the order in which they were made."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils import timezone

from tests_app.models.session import Session
from units.models.immutable import Immutable


class RuleChoice(Immutable):
    """Written once; the last one holds. One that was made after there were data says why."""

    bench_path = "session__bench"

    class After(models.TextChoices):
        """What there was to be seen when it was made."""

        NOTHING = "", "before any log file"
        DATA = "data", "after its log files came in"
        RESULT = "result", "after a result was there"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    session = models.ForeignKey(Session, models.CASCADE, related_name="rule_choices")
    rule = models.JSONField(default=dict, help_text="Of reduction.session.DecisionRule, what differs from its defaults")
    before = models.CharField(max_length=300, help_text="The rule until then, in words")
    now = models.CharField(max_length=300, help_text="This rule, in words")
    after = models.CharField(max_length=6, choices=After.choices, blank=True)
    why = models.TextField(blank=True)
    chosen_in_role = models.CharField(max_length=10, blank=True)
    chosen_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.SET_NULL, null=True, related_name="+")
    chosen_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["chosen_at", "pk"]
