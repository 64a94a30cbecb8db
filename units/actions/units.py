"""What a tester does to a unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from units import shelf
from units.claims import listed
from units.models import Change, Tag, Unit

NOT_TOLD = {"id", "bench", "created_at", "updated_at"}
TOLD = [field for field in Unit._meta.concrete_fields if field.name not in NOT_TOLD]

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import Field

    from units.bulk import Row
    from units.models import Bench, Claim, Person


@transaction.atomic
def record(
    *,
    unit: Unit,
    bench: Bench,
    tags: Iterable[tuple[str, str]],
    claims: Iterable[Claim],
    dropped_claims: Iterable[Claim] = (),
    by: Person,
) -> Unit:
    """Keep a unit with its tags and claims on its bench."""
    before = _told(unit) if not unit._state.adding else None
    unit.bench = bench
    unit.is_synthetic = unit.is_synthetic or bench.is_synthetic
    unit.save()
    unit.tags.set(Tag.objects.get_or_create(bench=bench, key=key, value=value)[0] for key, value in tags)
    for claim in dropped_claims:
        claim.delete()
    for claim in claims:
        claim.unit = unit
        claim.save()
    _remember(unit, before, by)
    shelf.refresh([unit])
    return unit


def _told(unit: Unit) -> dict[str, str]:
    """Return what is kept of a unit, in words, as it stands in the database."""
    kept = Unit.objects.prefetch_related("claims", "tags").get(pk=unit.pk)
    told = {str(field.verbose_name): _word(kept, field) for field in TOLD}
    told["tags"] = ", ".join(str(tag) for tag in kept.tags.all())
    for claim in listed(kept):
        name, stated = f"claim of {claim.get_quantity_display()}", f"{claim} {claim.condition_name}".strip()
        told[name] = f"{told[name]}; {stated}" if name in told else stated
    return told


def _word(unit: Unit, field: Field) -> str:
    value = getattr(unit, f"get_{field.name}_display")() if field.choices else getattr(unit, field.name)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _remember(unit: Unit, before: dict[str, str] | None, by: Person) -> None:
    """Add a line to the unit's history for each thing that is not as it was."""
    if before is None:
        Change.objects.create(unit=unit, what="unit", after=str(unit), changed_by=by)
        return
    after = _told(unit)
    names = [name for name in {**before, **after} if before.get(name, "") != after.get(name, "")]
    Change.objects.bulk_create(
        Change(unit=unit, what=name[:60], before=before.get(name, ""), after=after.get(name, ""), changed_by=by)
        for name in names
    )


@transaction.atomic
def record_many(*, rows: Iterable[Row], bench: Bench, by: Person) -> list[Unit]:
    """Keep a list of units that was checked row by row: all of them or, if anything fails, none."""
    return [
        record(
            unit=row.form.save(commit=False),
            bench=bench,
            tags=row.form.cleaned_data["tag_text"],
            claims=[claim.save(commit=False) for claim in row.claims],
            by=by,
        )
        for row in rows
    ]
