"""Rows as plain data: which models travel, in which order, what a row looks like in the archive."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import models

from units.models import Bench, Person

AnyRow = dict[str, Any]
# What does not travel, and why.
STAYS = {
    "ApiToken": "keys of programs are made anew where they are to be used",
    "CatalogueEntry": "derived from points; made again on arrival",
    "Handover": "an offer between two accounts of one installation",
    "Invitation": "a link to the installation it was made on",
    "Job": "progress of work that is done or belongs to the machine it ran on",
    "Membership": "who may enter is decided where the bench arrives; people.jsonl names them",
    "PartialUpload": "an upload that is not finished leaves nothing",
    "PooledRow": "derived from points; made again on arrival",
    "Person": "accounts belong to an installation; people.jsonl names them",
    "SecondStep": "belongs to an account",
    "SecondStepRule": "asks something of accounts of one installation",
    "SignInFailure": "belongs to an installation",
}

# Fields that say where this installation keeps something; they are set anew on arrival.
LOCAL = {"Evidence": ("stored_as",)}


def _models() -> list[type[models.Model]]:
    return [model for app in ("units", "tests_app") for model in apps.get_app_config(app).get_models()]


def staying() -> list[type[models.Model]]:
    """Return the models of a bench that do not travel, each before those it points at."""
    found = [model for model in _models() if model.__name__ in STAYS and getattr(model, "bench_path", None)]
    return _ordered(found)[::-1]


def travelling() -> list[type[models.Model]]:
    """Return the models that travel, each after those it points at."""
    return _ordered([model for model in _models() if model.__name__ not in STAYS])


def _ordered(found: list[type[models.Model]]) -> list[type[models.Model]]:
    ordered: list[type[models.Model]] = []
    while found:
        ready = [model for model in found if not (_pointed_at(model) & set(found) - {model})]
        if not ready:
            raise ValueError(f"models point at each other in a circle: {found}")
        ordered += ready
        found = [model for model in found if model not in ready]
    return ordered


def _pointed_at(model: type[models.Model]) -> set[type[models.Model]]:
    fields = [*model._meta.concrete_fields, *model._meta.many_to_many]
    return {field.related_model for field in fields if field.is_relation}


def of_bench(model: type[models.Model], bench: Bench) -> models.QuerySet:
    """Return a bench's rows of one model, always in the same order."""
    path = model.bench_path or "pk"
    return model._base_manager.filter(**{path: bench.pk}).order_by("pk")


def is_numbered(model: type[models.Model]) -> bool:
    """Say whether rows carry a number of this database, which means nothing in another."""
    return isinstance(model._meta.pk, models.AutoField)


class Numbers:
    """Names of rows within one archive: a UUID is its own; a number of the database becomes its place in the order."""

    def __init__(self, bench: Bench) -> None:
        self._places = {
            model: {key: n for n, key in enumerate(of_bench(model, bench).values_list("pk", flat=True), start=1)}
            for model in travelling()
            if is_numbered(model)
        }

    def of(self, model: type[models.Model], key: Any) -> Any:
        """Return the name of a row in the archive."""
        return self._places[model][key] if model in self._places else key


def written(row: models.Model, numbers: Numbers, people: dict[int, str]) -> AnyRow:
    """Return a row as plain data; people are named by their user names."""
    data: AnyRow = {}
    local = LOCAL.get(type(row).__name__, ())
    for field in row._meta.concrete_fields:
        if field.name in local:
            continue
        value = field.value_from_object(row)
        if field.related_model is Person:
            value = None if value is None else people[value]
        elif field.primary_key:
            value = numbers.of(type(row), value)
        elif field.is_relation and value is not None:
            value = numbers.of(field.related_model, value)
        data[field.name] = plain(value)
    for field in row._meta.many_to_many:
        keys = field.value_from_object(row)
        data[field.name] = sorted(plain(numbers.of(field.related_model, other.pk)) for other in keys)
    return data


def plain(value: Any) -> Any:
    """Return a value as JSON holds it; instants in UTC to the microsecond."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, UUID | Decimal):
        return str(value)
    if isinstance(value, models.fields.files.FieldFile):
        return value.name
    return value


def canonical(value: Any) -> Any:
    """Return data in the form that is hashed: whole numbers alike whether a database kept 21 or 21.0.

    >>> canonical({"b": [21.0, -0.0], "a": 0.5})
    {'b': [21, 0], 'a': 0.5}
    """
    if isinstance(value, dict):
        return {key: canonical(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [canonical(inner) for inner in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def parents_first(rows: Iterable[AnyRow], name: str) -> Iterator[AnyRow]:
    """Yield rows that point at rows of their own kind after those; `name` is the pointing field."""
    waiting: dict[Any, list[AnyRow]] = {}
    for row in rows:
        waiting.setdefault(row[name], []).append(row)
    ready = waiting.pop(None, [])
    while ready:
        row = ready.pop(0)
        yield row
        ready += waiting.pop(row["id"], [])
    if waiting:
        raise ValueError(f"rows whose {name} is not in the archive")
