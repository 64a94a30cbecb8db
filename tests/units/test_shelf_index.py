"""The shelf in memory against the database: the same rows, the same counts, never an older state."""

from __future__ import annotations

import random

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import QueryDict

from tests import builders
from units import shelf
from units.compare.catalogue import Asked, catalogue_page
from units.compare.shelf_index import COLUMN_FACETS, shelf_index
from units.models import CatalogueEntry, Unit

pytestmark = pytest.mark.django_db
ADDRESSES = (
    "", "kind=window", "kind=window&kind=mini_split&compressor=fixed_speed", "q=r-32", "q=maker+1&refrigerant=R-290",
    "voltage=230&price=EUR:200-400", "kind=window&kind=nothing", "obtained=bought&obtained=lent&compressor=unknown",
)  # fmt: skip


@pytest.fixture
def many(bench) -> list[Unit]:
    chance = random.Random(7)
    units = [
        builders.a_unit(
            bench=bench, maker=f"Maker {chance.randrange(3)}",
            kind=chance.choice(["window", "mini_split", "through_wall"]),
            compressor=chance.choice(["fixed_speed", "variable_speed", "unknown"]), price_currency="EUR",
            refrigerant=chance.choice(["R-32", "R-290", ""]), voltage_v=chance.choice([115, 230, None]),
            obtained=chance.choice(["bought", "lent", ""]), price=chance.choice([199, 349, None]),
        )
        for _ in range(30)
    ]  # fmt: skip
    for unit in units:
        builders.a_published_point(unit=unit)
    shelf.refresh(units)
    return units


@pytest.mark.parametrize("address", ADDRESSES)
def test_counts_and_matches_are_those_that_the_database_gives_one_by_one(many, address):
    asked = Asked.from_query(QueryDict(address))
    page = catalogue_page(AnonymousUser(), asked)
    public = CatalogueEntry.objects.filter(audience="public")
    for word in asked.words:
        public = public.filter(search__contains=word)
    narrowed = {COLUMN_FACETS[name]: values for name, values in asked.chosen.items()}
    assert page.total == public.filter(**{f"{column}__in": values for column, values in narrowed.items()}).count()
    for facet, column in COLUMN_FACETS.items():
        others = {f"{name}__in": values for name, values in narrowed.items() if name != column}
        rows = public.filter(**others).exclude(**{column: ""})
        for found in page.facets[facet]:
            assert found.count == rows.filter(**{column: found.value}).count()
        assert sum(found.count for found in page.facets[facet]) == rows.count()


def test_a_change_is_seen_by_the_next_reader_and_nothing_is_read_twice_without_one(many, django_assert_num_queries):
    first = shelf_index()
    with django_assert_num_queries(1):
        assert shelf_index() is first
    many[0].maker = "Renamed"
    many[0].save()
    shelf.refresh(many[:1])
    with django_assert_num_queries(2):
        assert shelf_index() is not first
    assert catalogue_page(AnonymousUser(), Asked.from_query(QueryDict("q=renamed"))).total == 1


def test_a_unit_that_goes_takes_its_rows_along(many):
    before = len(shelf_index())
    CatalogueEntry.objects.filter(unit=many[0]).delete()
    assert len(shelf_index()) == before - 2


def test_an_empty_shelf_is_a_page_without_rows(db):
    page = catalogue_page(AnonymousUser(), Asked.from_query(QueryDict("kind=window&sort=ratio&q=x")))
    assert (page.total, page.entries, page.pages) == (0, [], 1)
