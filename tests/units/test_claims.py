"""Which of several claims leads: the same for the reduction, the shelf, the comparison and what is published."""

from __future__ import annotations

import json
from itertools import permutations
from typing import Any
from uuid import UUID

import pytest
from django.test import Client

from reduction import session as doc
from reduction.judge.claims import claimed_figures
from tests import publishing
from tests_app import session_document
from units import shelf
from units.actions import editions, reviews
from units.claims import in_order, leading, listed
from units.compare.points import units_with_points
from units.models import Bench, CatalogueEntry, Claim, Unit

# Capacity and EER as a leaflet states them: at 35 °C, where room units are rated (reduction/data/rating_conditions.csv
# names the source), on a mild day and on a hot one. The figures are invented.
AT_35 = {"outdoor_temp_c": 35.0, "room_temp_c": 26.7, "condition_name": "35 °C"}
MILD = {"outdoor_temp_c": 27.8, "room_temp_c": 26.7, "condition_name": "27.8 °C"}
HOT = {"outdoor_temp_c": 46.0, "room_temp_c": 29.0, "condition_name": "46 °C"}
STATED = (
    ("capacity", 9000.0, AT_35), ("capacity", 10000.0, MILD), ("capacity", 7900.0, HOT),
    ("eer", 9.8, AT_35), ("eer", 13.0, MILD), ("sound", 52.0, {}),
)  # fmt: skip
W_PER_BTU_PER_H = 0.2930711  # NIST SP 811, B.8, of the IT Btu
UNITS = {"capacity": "Btu/h", "eer": "Btu/(W·h)", "ceer": "Btu/(W·h)", "sound": "dB(A)"}


def claim(unit: Unit, number: int, quantity: str, value: float, condition: dict[str, Any]) -> Claim:
    """Keep a claim under a key that sorts by its number."""
    factor = W_PER_BTU_PER_H if quantity == "capacity" else 1.0
    said = {"value": value, "value_si": value * factor, "quantity_unit": UNITS[quantity], "stated_in": "Leaflet"}
    return Claim.objects.create(id=UUID(int=number), unit=unit, quantity=quantity, **said, **condition)


@pytest.fixture
def unit(bench: Bench) -> Unit:
    return publishing.a_told_unit(bench, claims={})


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_the_capacity_at_the_usual_condition_leads_and_the_efficiency_there_with_it(
    unit: Unit, order: tuple[int, ...]
) -> None:
    for number, at in enumerate([*order, 3, 4, 5], start=1):
        claim(unit, number, *STATED[at])
    led = {quantity: row.value for quantity, row in leading(unit).items()}
    assert led == {"capacity": 9000.0, "eer": 9.8, "sound": 52.0}


def test_an_efficiency_at_another_condition_only_is_not_set_beside_the_capacity(unit: Unit) -> None:
    for number, at in enumerate((0, 4), start=1):
        claim(unit, number, *STATED[at])
    stated = session_document.describe_unit(unit)
    figures = claimed_figures(stated)
    assert set(leading(unit)) == {"capacity"}
    assert (figures.eer_btu_per_wh, figures.power_w) == (None, None)
    assert figures.condition.outdoor_temp_c == 35.0


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0)])
def test_reduction_shelf_and_comparison_take_the_same_claim_whatever_the_keys_are(
    unit: Unit, owner: Client, order: tuple[int, ...]
) -> None:
    for number, at in enumerate([*order, 3, 4], start=1):
        claim(unit, number, *STATED[at])
    shelf.refresh([unit])
    entry = CatalogueEntry.objects.get(audience="bench")
    (row,) = units_with_points(owner.person, [unit.pk])
    taken = claimed_figures(session_document.describe_unit(unit)).capacity_w
    assert taken == pytest.approx(9000.0 * W_PER_BTU_PER_H, rel=1e-6)
    assert entry.claimed_capacity_w == row.claimed("capacity") == pytest.approx(taken, rel=1e-6)
    assert entry.claimed_eer == 9.8


def verdict(value: float, words: str) -> dict[str, Any]:
    return {"claim": f"capacity {value:g} Btu/h", "quantity": "capacity", "claimed": value * W_PER_BTU_PER_H} | {
        "measured": 2300.0, "measured_u95": 60.0, "quantity_unit": "W", "probability_meets": 0.5,
        "probability_within_tolerance": 0.5, "tolerance": 0.05, "scheme": "a scheme", "words": words,
        "because": f"It was judged as {words}.", "rule": "",
    }  # fmt: skip


def test_a_published_page_sets_each_of_two_claims_beside_its_own_verdict(unit: Unit, owner: Client) -> None:
    for number, at in enumerate((1, 0), start=1):
        claim(unit, number, *STATED[at])
    judged = (verdict(10000.0, "falls short"), verdict(9000.0, "meets"))
    publishing.a_telling_reduction(unit, publishing.a_telling_point(verdicts=judged))
    review = reviews.begin(bench=unit.bench, units=[unit], by=owner.person)
    reviews.write(review=review, disclosure="Bought by the bench. No ties to the maker.", by=owner.person)
    edition = editions.publish(review=review, by=owner.person)
    document = json.loads(edition.document)
    assert [one["words"] for one in document["points"]["P1"]["verdicts"]] == ["meets", "falls short"]
    rows = [row.split("</tr>")[0] for row in edition.html.split("<tr>") if "27.8 °C" in row or ">35 °C<" in row]
    by_condition = {"27.8 °C": "falls short", "35 °C": "meets"}
    assert all(f"judged as {by_condition[at]}" in row for at in by_condition for row in rows if f">{at}<" in row)
    assert len(rows) == 2


def test_claims_are_listed_in_one_order_whatever_their_keys_are(unit: Unit) -> None:
    for number, at in enumerate((2, 5, 0, 4, 1, 3), start=1):
        claim(unit, number, *STATED[at])
    assert [row.value for _, row in in_order(unit)] == [10000.0, 7900.0, 9000.0, 13.0, 9.8, 52.0]
    assert [row.quantity for row in listed(unit)] == ["capacity"] * 3 + ["eer"] * 2 + ["sound"]


def test_two_samples_of_one_model_are_told_apart_on_a_page(bench: Bench, owner: Client) -> None:
    samples = [publishing.a_told_unit(bench, maker="Quellmar", model="W8") for _ in range(2)]
    for sample in samples:
        publishing.a_telling_reduction(sample)
    review = reviews.begin(bench=bench, units=samples, by=owner.person)
    reviews.write(review=review, disclosure="Bought by the bench. No ties to the maker.", by=owner.person)
    edition = editions.publish(review=review, by=owner.person)
    assert [unit["name"] for unit in json.loads(edition.document)["units"]] == [
        "Quellmar W8 (sample 1)",
        "Quellmar W8 (sample 2)",
    ]


def test_an_efficiency_on_another_basis_is_not_mistaken_for_the_eer_beside_it(unit: Unit, owner: Client) -> None:
    claim(unit, 1, "ceer", 13.4, AT_35)
    claim(unit, 2, "eer", 12.6, AT_35)
    eer = {"quantity": "eer", "measured": 11.0, "measured_u95": 0.4, "quantity_unit": "Btu/(W·h)"}
    judged = (
        verdict(0, "not comparable") | eer | {"claim": "CEER 13.4", "claimed": 13.4},
        verdict(0, "falls short") | eer | {"claim": "EER 12.6", "claimed": 12.6},
    )
    publishing.a_telling_reduction(unit, publishing.a_telling_point(verdicts=judged))
    review = reviews.begin(bench=unit.bench, units=[unit], by=owner.person)
    reviews.write(review=review, disclosure="Bought by the bench. No ties to the maker.", by=owner.person)
    page = editions.publish(review=review, by=owner.person).html.replace("\xa0", " ")
    ceer, own = (page.split(f'<th scope="row">{name}</th>')[1].split("</tr>")[0] for name in ("CEER", "EER"))
    assert ">EER 11.0 ± 0.4 Btu/(W·h)<" in ceer
    assert "not comparable" in ceer
    assert ">11.0 ± 0.4 Btu/(W·h)<" in own
    assert "falls short" in own


def test_a_claimed_air_flow_stands_beside_the_one_that_the_balance_infers(unit: Unit, owner: Client) -> None:
    Claim.objects.create(
        unit=unit, quantity="air_flow", value=315, quantity_unit="m³/h", value_si=315, stated_in="Leaflet"
    )
    check = doc.CrossCheck(
        name="indoor air flow", value=299.0, u95=16.0, quantity_unit="m³/h", expected="315 m³/h claimed", passed=True,
        because="The air flow that carries the sensible capacity.",
    )  # fmt: skip
    publishing.a_telling_reduction(unit, publishing.a_telling_point(cross_checks=(check,)))
    review = reviews.begin(bench=unit.bench, units=[unit], by=owner.person)
    reviews.write(review=review, disclosure="Bought by the bench. No ties to the maker.", by=owner.person)
    page = editions.publish(review=review, by=owner.person).html.replace("\xa0", " ")
    row = page.split('<th scope="row">Room air flow</th>')[1].split("</tr>")[0]
    assert ">299 ± 16 m³/h<" in row
    assert "inferred from the balance" in row
