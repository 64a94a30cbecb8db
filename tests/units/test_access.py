"""Fetching a row is the permission check."""

from __future__ import annotations

import uuid

import pytest
from django.apps import apps
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.urls import reverse

from tests import builders
from units import access
from units.models import Bench, Claim, Membership, Unit

pytestmark = pytest.mark.django_db


@pytest.fixture
def unit(bench):
    return builders.a_unit(bench=bench)


@pytest.mark.parametrize(
    ("role", "intent", "allowed"),
    [
        ("reader", "read", True),
        ("reader", "edit", False),
        ("reader", "own", False),
        ("tester", "edit", True),
        ("tester", "own", False),
        ("owner", "own", True),
    ],
)
def test_a_role_allows_what_it_says_and_no_more(bench, unit, role, intent, allowed):
    person = builders.a_person(bench=bench, role=role)
    if allowed:
        assert access.fetch(Unit, unit.pk, person=person, to=intent) == unit
    else:
        with pytest.raises(PermissionDenied, match=f"needs the role .*; yours is {role}"):
            access.fetch(Unit, unit.pk, person=person, to=intent)


def test_what_belongs_to_another_bench_is_not_there_whatever_the_role_elsewhere(unit, stranger):
    with pytest.raises(Http404):
        access.fetch(Unit, unit.pk, person=stranger.person, to="own")


def test_a_person_of_two_benches_has_each_role_only_where_it_was_given(unit, stranger):
    Membership.objects.create(bench=unit.bench, person=stranger.person, role="reader")
    with pytest.raises(PermissionDenied):
        access.fetch(Unit, unit.pk, person=stranger.person, to="edit")
    assert access.visible(Unit, stranger.person, to="edit").count() == 0
    assert access.visible(Unit, stranger.person).get() == unit


def test_a_visitor_sees_nothing_of_a_bench(unit):
    with pytest.raises(Http404):
        access.fetch(Unit, unit.pk, person=AnonymousUser())


@pytest.mark.parametrize("pk", [uuid.uuid4(), "not-a-uuid", 17])
def test_an_address_that_leads_nowhere_is_not_found(reader, pk):
    with pytest.raises(Http404):
        access.fetch(Unit, pk, person=reader.person)


def test_the_way_to_a_bench_is_followed_through_other_rows(bench, unit, reader, stranger):
    claim = unit.claims.get()
    assert access.fetch(Claim, claim.pk, person=reader.person) == claim
    assert not access.visible(Claim, stranger.person).exists()
    assert access.fetch(Bench, bench.pk, person=reader.person) == bench


def test_every_model_with_a_bench_can_be_scoped(reader):
    for model in apps.get_models():
        if hasattr(model, "bench_path"):
            list(access.visible(model, reader.person))


def test_a_visitor_reads_units_with_a_current_published_point_only(bench, unit):
    public, withdrawn = builders.a_unit(bench=bench), builders.a_unit(bench=bench)
    builders.a_published_point(unit=public)
    builders.a_published_point(unit=withdrawn, is_current=False)
    assert set(access.readable_units(AnonymousUser())) == {public}
    with pytest.raises(Http404):
        access.fetch_readable_unit(unit.pk, person=AnonymousUser())


def test_a_person_reads_published_units_and_those_of_their_own_benches(bench, unit, reader, stranger):
    builders.a_published_point(unit=(other := builders.a_unit(bench=Bench.objects.get(slug="another"))))
    assert set(access.readable_units(reader.person)) == {unit, other}
    assert set(access.readable_units(stranger.person)) == {other}


def test_the_bench_of_work_is_the_chosen_one_only_where_it_is_the_persons(bench, reader, stranger):
    theirs = Bench.objects.get(slug="another")
    assert access.current_bench(reader.person, str(theirs.pk)) == bench
    assert access.current_bench(AnonymousUser()) is None


@pytest.mark.parametrize(
    "name",
    [
        "sessions", "session-new", "session-import", "units", "unit-new", "units-import", "units-export", "rooms",
        "room-new", "instruments", "instrument-new", "colocation", "reviews", "review-new", "rereductions", "people",
        "tokens", "bench-archive",
    ],
)  # fmt: skip
def test_who_has_no_bench_yet_is_sent_from_every_page_of_one_to_where_one_is_opened(name, client):
    client.force_login(builders.a_person(username="new"))
    assert client.get(reverse(name)).url == reverse("bench-home")


def test_a_page_may_ask_for_more_of_whom_posts_than_of_whom_reads(bench, rf):
    @access.at_bench(posting="own")
    def view(request, bench):
        return HttpResponse(bench.name)

    asked = {"GET": rf.get("/"), "POST": rf.post("/")}
    for request in asked.values():
        request.user, request.bench = builders.a_person(bench=bench, role="reader"), bench
    assert view(asked["GET"]).text == bench.name
    with pytest.raises(PermissionDenied, match="needs the role owner"):
        view(asked["POST"])
