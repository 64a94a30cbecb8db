"""Sets of units that a bench compares again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from units.models import Collection

if TYPE_CHECKING:
    from collections.abc import Iterable

    from units.models import Bench, Person, Unit


@transaction.atomic
def keep(*, bench: Bench, name: str, units: Iterable[Unit], by: Person) -> Collection:
    """Keep the units under a name; the same name again holds the new set."""
    collection, _ = Collection.objects.get_or_create(bench=bench, name=name)
    collection.units.set(units)
    return collection


@transaction.atomic
def drop(*, collection: Collection, by: Person) -> str:
    """Forget the set; its units stay."""
    name = collection.name
    collection.delete()
    return name
