"""A whole bench: kept elsewhere, brought back, deleted after a time in which it can still be saved."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import models, transaction
from django.utils import timezone

from tests_app.models import Evidence
from units.actions import exports
from units.archive.rows import of_bench, staying, travelling
from units.models import Bench, Person

GRACE = timedelta(days=30)


@transaction.atomic
def delete_later(*, bench: Bench, typed_name: str, by: Person) -> Bench:
    """Mark a bench for deletion after the grace period; its name must be typed, so that no slip does it."""
    if typed_name.strip() != bench.name:
        raise ValidationError(f"Type the bench's name, “{bench.name}”, to delete it.")
    bench.delete_after = timezone.now() + GRACE
    bench.save(update_fields=["delete_after"])
    return bench


@transaction.atomic
def keep(*, bench: Bench, by: Person) -> Bench:
    """Take the mark off again."""
    bench.delete_after = None
    bench.save(update_fields=["delete_after"])
    return bench


def delete_due(*, now: datetime | None = None, by: Person | None = None) -> list[str]:
    """Delete every bench whose grace period is over; return their names."""
    due = list(Bench.objects.filter(delete_after__lte=now or timezone.now()))
    return [delete_now(bench=bench, by=by) for bench in due]


def delete_now(*, bench: Bench, by: Person | None) -> str:
    """Remove a bench with everything on it: the one way in which evidence and editions ever go."""
    with transaction.atomic():
        stored = list(Evidence.objects.filter(bench=bench).values_list("stored_as", flat=True))
        made = exports.stored(bench)
        for model in (*staying(), *reversed(travelling())):
            _remove(model, bench)
    for name in stored:
        if not Evidence.objects.filter(stored_as=name).exists():
            default_storage.delete(name)
    for name in made:
        default_storage.delete(name)
    return bench.name


def _remove(model: type[models.Model], bench: Bench) -> None:
    """Delete a model's rows of a bench in the database itself, since rows that are written once refuse it."""
    rows = models.QuerySet(model).filter(pk__in=of_bench(model, bench).values("pk"))
    for field in model._meta.many_to_many:
        through = field.remote_field.through
        models.QuerySet(through).filter(**{f"{field.m2m_field_name()}__in": rows})._raw_delete(rows.db)
    rows._raw_delete(rows.db)
