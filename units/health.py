"""Is it well: database, storage, the age of the queue; and the same as figures for a monitoring system."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection
from django.db.models import Count, Sum

from tests_app.models import Evidence, Job, Reduction, Session
from units.models import Edition, PublishedPoint, SignInFailure, Unit

LATE_S = 600.0


@dataclass(frozen=True)
class Part:
    """One thing the site needs, whether it works, and what was found."""

    name: str
    works: bool
    found: str | float


def parts() -> list[Part]:
    """Look at everything a page or a worker needs."""
    return [_tried("database", _database), _tried("storage", _storage), _tried("queue", queue_age_s)]


def _tried(name: str, look: Callable[[], str | float]) -> Part:
    try:
        return Part(name, True, look())
    except Exception as error:
        return Part(name, False, type(error).__name__)


def _database() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return connection.vendor


def _storage() -> str:
    """Write a byte and take it away again: a disk that is full reads well."""
    name = default_storage.save(f"health/{uuid.uuid4().hex}", ContentFile(b"1"))
    default_storage.delete(name)
    return "writable"


def queue_age_s() -> float:
    """Return for how long the oldest waiting job has waited. [s]"""
    asked = Job.objects.filter(state=Job.State.WAITING).order_by("asked_at").values_list("asked_at", flat=True).first()
    return round((datetime.now(UTC) - asked).total_seconds(), 1) if asked else 0.0


def exposition() -> str:
    """Return the figures in the OpenMetrics text format."""
    return "".join(_lines()) + "# EOF\n"


def _lines() -> Iterator[str]:
    states = dict(Job.objects.order_by().values_list("state").annotate(Count("pk")))
    gauges = {
        "units": (Unit.objects.count(), "Units on all benches."),
        "sessions": (Session.objects.count(), "Test sessions."),
        "reductions": (Reduction.objects.count(), "Reductions, superseded ones too."),
        "editions": (Edition.objects.count(), "Published editions."),
        "published_points": (PublishedPoint.objects.filter(is_current=True).count(), "Published points that stand."),
        "evidence_files": (Evidence.objects.count(), "Evidence files."),
        "evidence_bytes": (Evidence.objects.aggregate(all=Sum("size_bytes"))["all"] or 0, "Bytes of evidence."),
        "queue_age_seconds": (queue_age_s(), "How long the oldest waiting job has waited."),
        "sign_in_failures": (SignInFailure.objects.count(), "Failed sign-ins that still count."),
    }
    for name, (value, what) in gauges.items():
        yield f"# TYPE cooling_ledger_{name} gauge\n# HELP cooling_ledger_{name} {what}\n"
        yield f"cooling_ledger_{name} {value}\n"
    yield "# TYPE cooling_ledger_jobs gauge\n# HELP cooling_ledger_jobs Jobs by state.\n"
    yield from (f'cooling_ledger_jobs{{state="{state}"}} {states.get(state, 0)}\n' for state in Job.State.values)
