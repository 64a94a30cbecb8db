"""No page asks the database more often because there is more to show."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from tests import builders
from units import shelf
from units.actions import collections, reviews
from units.models import Bench, Collection, Unit

pytestmark = pytest.mark.django_db
MOST, MOST_AT_WORK = 10, 25  # a page of one's own bench shows more than a reader's


def furnish(bench: Bench, owner: Any, count: int) -> list[Unit]:
    """Put so many more of everything on the bench: units with points of several runs, rooms, reviews, sets."""
    units = []
    for n in range(count):
        unit = builders.a_unit(bench=bench)
        builders.a_session(bench=bench, unit=unit, room=builders.a_room(bench=bench))
        for run in range(2):
            start = builders.NOON + timedelta(days=run)
            builders.a_point(unit=unit, start=start, end=start + timedelta(hours=1))
        builders.a_published_point(unit=unit)
        builders.an_instrument(bench=bench)
        reviews.begin(bench=bench, units=[unit], by=owner)
        units.append(unit)
        collections.keep(bench=bench, name=f"set {n} of {count}", units=units, by=owner)
    shelf.refresh(units)
    return units


def of_units(units: list[Unit]) -> str:
    return "&".join(f"unit={unit.pk}" for unit in units)


PAGES: dict[str, Callable[[list[Unit]], str]] = {
    "catalogue": lambda units: reverse("catalogue"),
    "catalogue narrowed": lambda units: reverse("catalogue") + "?kind=window&outdoor=33-37&q=quellmar&sort=ratio",
    "compare": lambda units: f"{reverse('compare')}?{of_units(units)}",
    "compare in a band": lambda units: f"{reverse('compare')}?at=33-37&{of_units(units)}",
    "compare, none chosen": lambda units: reverse("compare"),
    "a chart of points": lambda units: f"{reverse('chart', args=['capacity-outdoor', 'csv'])}?{of_units(units)}",
    "a chart of figures": lambda units: f"{reverse('chart', args=['ratio', 'csv'])}?{of_units(units)}",
    "collection": lambda units: reverse("collection", args=[Collection.objects.latest("pk").pk]),
    "unit": lambda units: reverse("unit", args=[units[-1].pk]),
    "units": lambda units: reverse("units"),
    "units as a list": lambda units: reverse("units-export"),
    "bench": lambda units: reverse("bench-home"),
    "sessions": lambda units: reverse("sessions"),
    "rooms": lambda units: reverse("rooms"),
    "instruments": lambda units: reverse("instruments"),
    "reviews": lambda units: reverse("reviews"),
    "published units": lambda units: reverse("api-published-units"),
    "published comparison": lambda units: f"{reverse('api-published-comparison')}?{of_units(units)}",
}


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_as_often_for_much_as_for_little(
    page: str, bench: Bench, owner: Client, visitor: Client, django_assert_max_num_queries: Any
) -> None:
    for client, most in ((owner, MOST_AT_WORK), (visitor, MOST)):
        counts, units = [], furnish(bench, owner.person, 2)
        for more in (0, 5):
            units += furnish(bench, owner.person, more)
            client.get(PAGES[page](units))  # the shelf is read anew after a change, once
            cache.clear()
            with django_assert_max_num_queries(most) as captured:
                answer = client.get(PAGES[page](units), follow=False)
            assert answer.status_code in (200, 302)
            counts.append(len(captured))
        assert counts[0] == counts[1]
