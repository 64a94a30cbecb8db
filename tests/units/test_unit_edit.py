"""A unit with its claims and tags as a tester writes them down."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests import builders
from units.models import CatalogueEntry, Unit

pytestmark = pytest.mark.django_db


def form(*claims: dict, **fields) -> dict:
    """Return what the page sends: a unit, and one row for each claim."""
    data = {"maker": "Quellmar", "model": "W9", "kind": "window", "compressor": "fixed_speed", "price_currency": ""}
    data |= fields
    data |= {"claims-TOTAL_FORMS": len(claims), "claims-INITIAL_FORMS": 0}
    for n, claim in enumerate(claims):
        row = {"quantity": "capacity", "value": "8000", "quantity_unit": "Btu/h", "rating": ""} | claim
        data |= {f"claims-{n}-{name}": value for name, value in row.items()}
    return data


def test_a_unit_is_kept_with_its_claims_and_tags_and_stands_on_the_shelf(tester, bench):
    answer = tester.post(
        reverse("unit-new"), form({}, tag_text="quiet, series: Nord", refrigerant="r32", voltage_v="230")
    )
    unit = Unit.objects.get()
    assert answer.url == reverse("unit", args=[unit.pk])
    assert (unit.bench, unit.refrigerant) == (bench, "R-32")
    assert {str(tag) for tag in unit.tags.all()} == {"quiet", "series:Nord"}
    # 8000 Btu/h / 3.412142 = 2344.6 W
    assert unit.claims.get().value_si == pytest.approx(2344.57, abs=0.01)
    assert CatalogueEntry.objects.get(unit=unit).claimed_capacity_w == unit.claims.get().value_si


def test_a_named_condition_brings_its_temperatures(tester):
    tester.post(reverse("unit-new"), form({"rating": "ISO 5151 T1"}))
    claim = Unit.objects.get().claims.get()
    # ISO 5151, T1: 27/19 °C room, 35/24 °C outdoors
    assert (claim.room_temp_c, claim.room_wet_bulb_c, claim.outdoor_temp_c, claim.outdoor_wet_bulb_c) == (
        27,
        19,
        35,
        24,
    )


def test_temperatures_are_read_in_the_readers_scale_or_the_one_written(tester):
    tester.post(reverse("display"), {"temperature": "F"})
    tester.post(reverse("unit-new"), form({"rating": "own", "room_temp_c": "80", "outdoor_temp_c": "35 °C"}))
    claim = Unit.objects.get().claims.get()
    assert claim.room_temp_c == pytest.approx(26.6667, abs=1e-4)
    assert claim.outdoor_temp_c == 35.0


@pytest.mark.parametrize(
    ("claim", "sentence"),
    [
        ({"value": "8000", "quantity_unit": "kW"}, "8000 kW is 8e+06 W; a room air conditioner has 200 to 60000 W"),
        ({"quantity_unit": "dB(A)"}, "expected one of w, kw, btu/h"),
        ({"quantity": "eer", "value": "95", "quantity_unit": "Btu/(W·h)"}, "a room air conditioner has 1 to 40"),
        ({"value": "-5"}, "Check the figure and its unit"),
        ({"value": "nan"}, "Enter a number"),
        ({"rating": "own", "room_temp_c": "warm"}, "“warm” is no temperature. Write 35 or 95 °F."),
        ({"rating": "own", "outdoor_temp_c": "95"}, "“95” is 95 °C, outside -40 to 70 °C."),
        ({"rating": "own", "room_temp_c": "26", "room_wet_bulb_c": "27"}, "A wet bulb is never above the dry bulb."),
        ({"room_temp_c": "26"}, "Temperatures are given: choose “as below”, or empty them."),
        ({"value": ""}, "This field is required."),
    ],
)
def test_an_absurd_claim_is_refused_with_what_to_do_and_nothing_is_kept(tester, claim, sentence):
    answer = tester.post(reverse("unit-new"), form(claim))
    assert answer.status_code == 422
    assert sentence in answer.text
    assert not Unit.objects.exists()


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"maker": ""}, "This field is required."),
        ({"voltage_v": "12"}, "12 V is no mains voltage"),
        ({"kind": "fridge"}, "Select a valid choice"),
        ({"tag_text": ",".join(map(str, range(30)))}, "30 tags are too many"),
        ({"tag_text": "x" * 90}, "is too long for a tag"),
    ],
)
def test_an_absurd_unit_is_refused_with_what_to_do(tester, fields, sentence):
    answer = tester.post(reverse("unit-new"), form(**fields))
    assert answer.status_code == 422
    assert sentence in answer.text
    assert not Unit.objects.exists()


def test_a_claim_is_changed_and_another_taken_out(tester, bench):
    unit = builders.a_unit(bench=bench)
    kept = unit.claims.get()
    gone = builders.Claim.objects.create(unit=unit, quantity="eer", value=9, quantity_unit="Btu/(W·h)", value_si=9)
    data = form(
        {"id": kept.pk, "value": "9000"},
        {"id": gone.pk, "quantity": "eer", "value": "9", "quantity_unit": "Btu/(W·h)", "DELETE": "on"},
    )
    tester.post(reverse("unit-edit", args=[unit.pk]), data | {"claims-INITIAL_FORMS": 2})
    assert [claim.value for claim in unit.claims.all()] == [9000.0]


def test_the_history_says_what_was_changed_by_whom_and_only_to_the_bench(tester, visitor, bench):
    unit = builders.a_unit(bench=bench, maker="Quellmar", model="W8")
    builders.a_published_point(unit=unit)
    data = form({"id": unit.claims.get().pk, "value": "9000"}, tag_text="quiet")
    tester.post(reverse("unit-edit", args=[unit.pk]), data | {"claims-INITIAL_FORMS": 1})
    told = {(change.what, change.before, change.after) for change in unit.changes.all()}
    assert told == {
        ("model", "W8", "W9"),
        ("tags", "", "quiet"),
        ("claim of Cooling capacity", "Cooling capacity 8000 Btu/h", "Cooling capacity 9000 Btu/h"),
    }
    page = reverse("unit", args=[unit.pk])
    assert "tomas:</span> model “W8” → “W9”" in tester.get(page).text
    assert "tomas" not in visitor.get(page).text


def test_a_claim_of_another_unit_cannot_be_changed_through_this_one(tester, bench):
    unit, other = builders.a_unit(bench=bench), builders.a_unit(bench=builders.a_bench())
    data = form({"id": other.claims.get().pk, "value": "9000"}) | {"claims-INITIAL_FORMS": 1}
    tester.post(reverse("unit-edit", args=[unit.pk]), data)
    assert other.claims.get().value == 8000.0


def test_more_rows_are_given_without_losing_what_is_written_and_without_saving(tester):
    answer = tester.post(reverse("unit-new"), form({"value": "8123"}, more="1"))
    assert answer.status_code == 200
    assert 'value="8123"' in answer.text
    assert 'name="claims-3-value"' in answer.text
    assert not Unit.objects.exists()


def test_the_page_of_a_unit_shows_its_values_as_they_were_stated(tester, bench):
    unit = builders.a_unit(bench=bench, refrigerant="R-290")
    page = tester.get(reverse("unit-edit", args=[unit.pk])).text
    assert 'value="R-290"' in page
    assert 'value="8000.0"' in page


def test_a_unit_of_a_synthetic_bench_is_labelled_so_whatever_the_form_says(tester, bench):
    bench.is_synthetic = True
    bench.save()
    tester.post(reverse("unit-new"), form())
    assert Unit.objects.get().is_synthetic
