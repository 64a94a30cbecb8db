"""What a tester does to a unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from units import shelf
from units.models import Tag, Unit

if TYPE_CHECKING:
    from collections.abc import Iterable

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
    unit.bench = bench
    unit.is_synthetic = unit.is_synthetic or bench.is_synthetic
    unit.save()
    unit.tags.set(Tag.objects.get_or_create(bench=bench, key=key, value=value)[0] for key, value in tags)
    for claim in dropped_claims:
        claim.delete()
    for claim in claims:
        claim.unit = unit
        claim.save()
    shelf.refresh([unit])
    return unit


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
