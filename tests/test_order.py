"""No page, table or document depends on the order in which the database happens to hand out rows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.core.cache import cache
from django.db.models.expressions import OrderBy, RawSQL
from django.db.models.sql.compiler import SQLCompiler
from django.test import Client
from django.urls import reverse

from tests import builders
from tests.test_every_url import TABLE, arguments_of, scene  # noqa: F401 - the scene is a fixture
from units import shelf
from units.actions import editions, reviews
from units.models import Bench, CalibrationRecord, Claim, Collection, RoomValue, Tag

SHOWN = sorted(name for name, (method, *_, owner) in TABLE.items() if method == "get" and owner == 200)
# What differs from one answer to the next of itself: secrets against forgery, and the time it took.
BY_CHANCE = re.compile(
    r'name="csrfmiddlewaretoken" value="\w+"|"X-CSRFToken": "\w+"|\d+\.\d{3,} s|^\S*_seconds\S* .*$', re.M
)
WORDS = re.compile(r"^text/|^application/(\w+\+)?(json|xml)")
MOVES = {"metrics", "health", "health-ready"}  # counters and ages, which the asking itself moves


@pytest.fixture
def several(bench: Bench, scene: dict[str, Any]) -> dict[str, Any]:  # noqa: F811
    """Return the scene with more of everything, made in an order that is no page's."""
    units = [builders.a_unit(bench=bench, maker=maker, obtained="bought", afterwards="kept") for maker in "CAB"]
    for unit in units:
        for quantity, unit_of in (("sound", "dB(A)"), ("eer", "Btu/(W·h)"), ("power", "W")):
            Claim.objects.create(unit=unit, quantity=quantity, value=9, value_si=9, quantity_unit=unit_of)
        unit.tags.add(*(Tag.objects.get_or_create(bench=bench, value=word)[0] for word in ("quiet", "budget", "new")))
        session = builders.a_session(bench=bench, unit=unit, name=f"Day of {unit}")
        points = tuple(builders.a_result_point(label=label) for label in ("mild", "hot", "cool"))
        builders.a_reduction(session=session, points=points)
    for name in ("North", "East", "West"):
        room = builders.a_room(bench=bench, name=name)
        RoomValue.objects.create(room=room, valid_from="2026-01-02", surfaces=[], found_by="estimate")
        instrument = builders.an_instrument(bench=bench, name=f"plug {name}")
        CalibrationRecord.objects.create(instrument=instrument, valid_from="2026-01-02", how="ice")
        Collection.objects.create(bench=bench, name=name).units.set(units)
        builders.a_person(bench=bench, role="reader", username=name.lower())
    review = reviews.begin(bench=bench, units=units, by=builders.a_person(bench=bench, role="owner", username="zoe"))
    owner = review.updated_by
    Claim.objects.filter(unit__in=units).update(stated_in="Leaflet")
    editions.publish(review=reviews.write(review=review, disclosure="Bought.", by=owner), by=owner)
    shelf.refresh(bench.units.all())
    return scene | {"unit_id": units[0].pk, "review_id": review.pk, "slug": review.slug}


@contextmanager
def rows_handed_out(monkeypatch: pytest.MonkeyPatch, *, backwards: bool) -> Iterator[None]:
    """Hand out rows that nobody put in order by their random keys, from either end; counting drops a model's order."""
    ordered = SQLCompiler.get_order_by

    def by_key(compiler: SQLCompiler) -> list[Any]:
        found, query = ordered(compiler), compiler.query
        counted = query.group_by is not None and compiler._meta_ordering
        if (found and not counted) or query.distinct or query.combinator or type(compiler) is not SQLCompiler:
            return found
        compiler._meta_ordering = None
        name = compiler.connection.ops.quote_name
        key = f"{name(query.get_initial_alias())}.{name(query.get_meta().pk.column)}"
        sql = f"{key} {'DESC' if backwards else 'ASC'}"
        return [(OrderBy(RawSQL(key, ()), descending=backwards), (sql, (), False))]

    with monkeypatch.context() as patched:
        patched.setattr(SQLCompiler, "get_order_by", by_key)
        yield


def answer(client: Client, address: str) -> str | None:
    """Return what an address answers in words."""
    cache.clear()
    found = client.get(address)
    if found.streaming or not WORDS.match(found.get("Content-Type", "")):
        b"".join(found.streaming_content if found.streaming else [])  # read to its end, so that its file is closed
        return None
    return BY_CHANCE.sub("", found.content.decode())


def first_difference(one: str, other: str) -> str:
    at = next((at for at, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    return f"{one[at - 60 : at + 60]!r} or {other[at - 60 : at + 60]!r}"


def test_an_answer_is_the_same_whichever_end_the_database_begins_at(
    several: dict[str, Any], owner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    differ = []
    for name in sorted(set(SHOWN) - MOVES):
        address = reverse(name, kwargs=arguments_of(name, several))
        address += f"?unit={several['unit_id']}" if name == "chart" else ""
        said = []
        for backwards in (False, True):
            with rows_handed_out(monkeypatch, backwards=backwards):
                said.append(answer(owner, address))
        if said[0] != said[1]:
            differ.append((name, first_difference(*said)))
    assert differ == []
