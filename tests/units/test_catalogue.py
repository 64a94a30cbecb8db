"""The catalogue: what is listed to whom, what its facets count, in which order, by which address."""

from __future__ import annotations

import re

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.management import call_command
from django.http import QueryDict
from django.urls import reverse

from reduction import session as doc
from tests import builders
from units import shelf
from units.compare.catalogue import PAGE_SIZE, SORTS, Asked, catalogue_page
from units.compare.comparison import compare
from units.models import CatalogueEntry, Claim, Tag
from units.quantities import cooling

pytestmark = pytest.mark.django_db


def listed(bench, *, published=True, ratio=None, point=None, tags=(), sound=None, **fields):
    """Make a unit of 2,344.6 W claimed and put it on the shelf; published with one point at the rating condition."""
    unit = builders.a_unit(bench=bench, **fields)
    for key, value in tags:
        unit.tags.add(Tag.objects.get_or_create(bench=bench, key=key, value=value)[0])
    if sound:
        Claim.objects.create(unit=unit, quantity="sound", value=sound, quantity_unit="dB(A)", value_si=sound)
    if published:
        figures = {"capacity_w": ratio * 2344.6, "capacity_u95_w": 70.0} if ratio else {}
        builders.a_published_point(unit=unit, **figures | (point or {}))
    shelf.refresh([unit])
    return unit


def page(query="", person=None):
    return catalogue_page(person or AnonymousUser(), Asked.from_query(QueryDict(query)))


def names(query="", person=None):
    return [entry.unit.model for entry in page(query, person).entries]


def counts(facet, query="", person=None):
    return {found.value: found.count for found in page(query, person).facets[facet]}


def test_a_visitor_is_shown_published_units_and_no_other(bench):
    listed(bench, model="public")
    listed(bench, model="private", published=False)
    assert names() == ["public"]


def test_a_person_of_the_bench_is_shown_its_units_once_with_all_their_points(bench, reader):
    unit = listed(bench, model="both")
    listed(bench, model="untested", published=False)
    builders.a_point(
        unit=unit,
        conditions={"outdoor_temp_c": doc.Measured(value=28.0, u=0.1), "room_temp_c": doc.Measured(value=26.0, u=0.1)},
    )
    shelf.refresh([unit])
    assert names(person=reader.person) == ["both", "untested"]
    assert counts("outdoor", person=reader.person) == {"25-30": 1}
    assert counts("outdoor") == {"33-37": 1}


def test_a_stranger_is_shown_what_a_visitor_is(bench, stranger):
    listed(bench, model="public")
    listed(bench, model="private", published=False)
    assert names(person=stranger.person) == ["public"]


def test_a_withdrawn_point_takes_the_unit_off_the_public_shelf(bench):
    unit = listed(bench)
    unit.published_points.update(is_current=False)
    shelf.refresh([unit])
    assert names() == []


def test_a_unit_that_is_gone_leaves_the_shelf(bench):
    listed(bench, published=False).delete()
    assert not CatalogueEntry.objects.exists()


@pytest.mark.parametrize(
    ("facet", "value", "fields"),
    [
        ("kind", "mini_split", {"kind": "mini_split"}),
        ("compressor", "variable_speed", {"compressor": "variable_speed"}),
        ("refrigerant", "R-290", {"refrigerant": "R-290"}),
        ("voltage", "115", {"voltage_v": 115.0}),
        ("obtained", "lent", {"obtained": "lent"}),
        ("price", "EUR:400-700", {"price": 549, "price_currency": "EUR"}),
        ("sound", "50-55", {"sound": 51}),
        ("capacity", "4000-5300", {"claims": {"capacity": (15000, "Btu/h", 4396.1)}}),
        ("outdoor", "above-37", {"point": {"outdoor_temp_c": 40.0}}),
        ("tag", "quiet", {"tags": [("", "quiet")]}),
        ("tag", "series:Nord", {"tags": [("series", "Nord")]}),
    ],
)
def test_a_facet_counts_and_finds_the_units_that_have_its_value(bench, facet, value, fields):
    listed(bench, model="has it", **fields)
    listed(bench, model="has not", tags=[("", "loud")])
    assert counts(facet)[value] == 1
    assert names(f"{facet}={value}") == ["has it"]


def test_classes_of_figures_stand_in_order_of_size_however_many_units_they_have(bench):
    for watts in (3500.0, 3500.0, 3500.0, 2000.0, 2700.0, 2700.0):
        unit = builders.a_unit(bench=bench, claims={"capacity": (watts, "W", watts)})
        builders.a_published_point(unit=unit)
        shelf.refresh([unit])
    assert list(counts("capacity").items()) == [("1800-2500", 1), ("2500-3200", 2), ("3200-4000", 3)]


def test_values_of_one_facet_add_up_and_facets_narrow_each_other(bench):
    listed(bench, model="a", kind="window", refrigerant="R-32")
    listed(bench, model="b", kind="mini_split", refrigerant="R-32")
    listed(bench, model="c", kind="window", refrigerant="R-290")
    assert names("kind=window&kind=mini_split") == ["a", "b", "c"]
    assert names("kind=window&refrigerant=R-32") == ["a"]
    # a facet is counted without its own choice, with those of the others
    assert counts("kind", "kind=window&refrigerant=R-32") == {"window": 1, "mini_split": 1}
    assert counts("refrigerant", "kind=window&refrigerant=R-32") == {"R-32": 1, "R-290": 1}


def test_search_wants_every_word_in_maker_model_kind_refrigerant_or_tags(bench):
    listed(bench, maker="Norvane", model="Älv 9", tags=[("series", "Nord")])
    listed(bench, maker="Norvane", model="Fjord")
    assert names("q=NORVANE+nord") == ["Älv 9"]
    assert names("q=ÄLV") == ["Älv 9"]
    assert names("q=norvane+isbruk") == []


@pytest.mark.parametrize(
    "query",
    [
        "q=%25",
        "q=_",
        "q=\\",
        "q='",
        "page=0",
        "page=99999",
        "page=²",
        "sort=;drop",
        "kind=x",
        "outdoor=hot",
        "tag=a:b:c",
        "unit=1",
    ],
)
def test_an_odd_address_is_answered_with_a_page(visitor, bench, query):
    listed(bench)
    assert visitor.get(reverse("catalogue") + "?" + query).status_code == 200


def test_units_are_put_in_order_by_share_of_the_claim_where_that_can_be_compared(bench):
    listed(bench, model="low", ratio=0.8)
    listed(bench, model="elsewhere", ratio=1.2, point={"outdoor_temp_c": 27.0})
    listed(bench, model="high", ratio=0.98)
    assert names("sort=ratio") == ["high", "low", "elsewhere"]


@pytest.mark.parametrize("sort", sorted(SORTS))
def test_every_order_keeps_every_unit(bench, sort):
    for n in range(4):
        listed(bench, model=str(n), published=n != 3)
    assert len(names(f"sort={sort}")) == 3


def test_a_figure_away_from_the_claims_condition_has_no_share_of_the_claim(bench):
    listed(bench, point={"outdoor_temp_c": 27.0})
    (entry,) = page().entries
    assert (entry.comparable, entry.ratio) == (False, None)
    assert entry.capacity_w == 2300.0


def test_catalogue_comparison_and_the_units_page_show_one_figure(bench, visitor):
    rated = {"condition": "", "capacity_w": 2250.0, "capacity_u95_w": 150.0, "eer_btu_per_wh": None, "eer_u95": None}
    unit = listed(bench, point={"detail": {"ratings": [rated]}, "outdoor_temp_c": 30.0})
    builders.a_published_point(unit=unit, capacity_w=2400.0)
    shelf.refresh([unit])
    (entry,) = page().entries
    compared = compare(AnonymousUser(), [unit.pk]).units_frame.iloc[0]
    assert (entry.capacity_w, entry.capacity_u95_w) == (compared["capacity"], compared["capacity_u95"])
    # weights by the inverse of each variance, worked by hand: (2250 / 75² + 2400 / u²) / (1 / 75² + 1 / u²)
    u = 60.0 / 2  # of a published point of the builders
    by_hand = (2250 / 75**2 + 2400 / u**2) / (1 / 75**2 + 1 / u**2)
    assert entry.capacity_w == pytest.approx(by_hand)
    assert entry.ratio == pytest.approx(by_hand / 2344.6)
    written = cooling(entry.capacity_w, entry.capacity_u95_w)
    for address in (reverse("catalogue"), reverse("unit", args=[unit.pk]), f"{reverse('compare')}?unit={unit.pk}"):
        assert written in visitor.get(address).text


def test_without_a_point_at_the_claims_condition_the_nearest_stands_as_tested_and_is_not_compared(bench):
    unit = listed(bench, point={"outdoor_temp_c": 28.0, "capacity_w": 2500.0})
    builders.a_published_point(unit=unit, outdoor_temp_c=31.0, capacity_w=2400.0)
    shelf.refresh([unit])
    (entry,) = page().entries
    assert (entry.capacity_w, entry.outdoor_temp_c, entry.ratio, entry.corrected) == (2400.0, 31.0, None, False)
    assert not entry.comparable


def test_of_points_as_near_to_the_claims_condition_the_best_known_stands(bench):
    unit = listed(
        bench, point={"outdoor_temp_c": 26.1, "room_temp_c": 22.1, "capacity_w": 1710.0, "capacity_u95_w": 40.0}
    )
    builders.a_published_point(
        unit=unit, label="across", outdoor_temp_c=26.1, room_temp_c=22.3, capacity_w=1600.0, capacity_u95_w=290.0
    )
    shelf.refresh([unit])
    (entry,) = page().entries
    assert (entry.capacity_w, entry.capacity_u95_w) == (1710.0, 40.0)


def test_an_upgrade_makes_anew_what_older_code_put_on_the_shelf(bench):
    unit = listed(bench, ratio=0.9)
    CatalogueEntry.objects.filter(unit=unit).update(pooling=0, capacity_w=1.0)
    call_command("migrate", verbosity=0)
    assert [entry.capacity_w for entry in page().entries] == [pytest.approx(0.9 * 2344.6)]


def test_a_long_list_is_paged_and_no_unit_is_lost_or_doubled(bench):
    for n in range(PAGE_SIZE + 3):
        listed(bench, model=f"{n:02}")
    first, second = names(), names("page=2")
    assert len(first) == PAGE_SIZE
    assert sorted(first + second) == [f"{n:02}" for n in range(PAGE_SIZE + 3)]
    assert page("page=9").entries == page("page=2").entries


def test_the_row_shows_measured_with_its_uncertainty_beside_the_claim(visitor, bench):
    listed(bench, model="W9")
    text = visitor.get(reverse("catalogue")).text
    assert "2,300\u00a0±\u00a060\u00a0W" in text
    assert "2,340\u00a0W" in text
    assert 'aria-label="Measured 98\u00a0±\u00a03\u00a0% of the claim, sensible part only"' in text


def test_the_whole_state_stands_in_the_address(visitor, bench):
    for kind in ("window", "mini_split"):
        listed(bench, kind=kind)
    text = visitor.get(reverse("catalogue") + "?kind=window&sort=eer&q=quellmar").text
    assert re.search(r'value="window" checked', text)
    assert '<option value="eer" selected>' in text
    assert 'value="quellmar"' in text
    assert "<strong>1</strong> unit match" in text


def test_a_partial_request_gets_the_part_only_and_caches_are_told(visitor, bench):
    listed(bench)
    whole, part = visitor.get(reverse("catalogue")), visitor.get(reverse("catalogue"), headers={"hx-request": "true"})
    assert "<!doctype html>" in whole.text
    assert "<!doctype html>" not in part.text
    assert "<table" in part.text
    assert "HX-Request" in whole["Vary"]


def test_a_serial_number_and_notes_never_reach_a_visitor(visitor, bench):
    unit = listed(bench, serial="S-8842", notes="from the neighbour", obtained_detail="Receipt of Jo Marsh")
    for address in (reverse("catalogue"), reverse("unit", args=[unit.pk]), reverse("compare") + f"?unit={unit.pk}"):
        text = visitor.get(address).text
        assert not [word for word in ("S-8842", "neighbour", "Jo Marsh", "Larkmoor") if word in text]


def test_what_another_worker_stored_meanwhile_is_not_written_over(bench, monkeypatch):
    """Another session of the unit is stored after this one's rows were worked out and before they are locked."""
    unit, work_out, others = listed(bench), shelf.derived, []

    def derived(keys):
        made = work_out(keys)
        if not others:
            others.append(builders.a_point(unit=unit))
            with monkeypatch.context() as plain:
                plain.setattr(shelf, "derived", work_out)
                shelf.refresh([unit])
        return made

    monkeypatch.setattr(shelf, "derived", derived)
    shelf.refresh([unit])
    entry = CatalogueEntry.objects.get(unit=unit, audience="bench")
    assert entry.point_count == unit.points.count() == len(others)


@pytest.mark.parametrize("is_synthetic", [True, False])
def test_units_that_are_offered_to_pick_are_labelled_where_they_are_invented(bench, visitor, is_synthetic):
    unit = builders.a_unit(bench=bench, is_synthetic=is_synthetic)
    builders.a_published_point(unit=unit)
    shelf.refresh([unit])
    page = visitor.get(reverse("compare")).text
    assert str(unit) in page
    assert ("Synthetic data." in page) is is_synthetic
