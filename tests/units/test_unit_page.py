"""The page of one unit: the figure it leads with, claims beside what was measured, pictures without a script."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from tests import builders
from units import shelf
from units.models import Claim

pytestmark = pytest.mark.django_db

CANNOT_TELL = {
    "claim": "capacity 2344.6 W", "quantity": "capacity", "claimed": 2344.6, "measured": 2100.0, "measured_u95": 420.0,
    "quantity_unit": "W", "probability_meets": 0.3, "probability_within_tolerance": 0.5, "tolerance": 0.05,
    "scheme": "", "words": "cannot tell", "because": "Its coil was near freezing.",
}  # fmt: skip
STEPS = [
    {"name": "Claim", "kind": "claim", "value_w": 2344.6, "u_w": 0.0, "because": "Stated."},
    {"name": "Remainder", "kind": "remainder", "value_w": -44.6, "u_w": 40.0, "because": "What is left."},
]


@pytest.fixture
def unit(bench):
    return builders.a_unit(bench=bench)


def page(visitor, unit, query=""):
    return visitor.get(reverse("unit", args=[unit.pk]) + query).text


def cells(text, quantity):
    """Return the cells of the claim's row, as a reader sees them."""
    row = re.search(rf'<tr><th scope="row">{quantity}</th>(.*?)</tr>', text, re.DOTALL)[1]
    return [" ".join(re.sub("<[^>]+>", " ", cell).split()) for cell in re.findall(r"<td.*?</td>", row, re.DOTALL)]


def test_what_a_result_cannot_tell_the_page_of_the_unit_cannot_tell_in_the_same_words(unit, visitor):
    builders.a_published_point(
        unit=unit, limit="coil near freezing", outdoor_temp_c=30.0, room_temp_c=21.0, detail={"verdicts": [CANNOT_TELL]}
    )
    _, _, measured, verdict = cells(page(visitor, unit), "Cooling capacity")
    assert measured.startswith("2,100 ± 400 W")
    assert verdict.startswith("cannot tell Its coil was near freezing.")


def test_a_quantity_that_no_balance_gives_was_not_measured(unit, visitor):
    Claim.objects.create(unit=unit, quantity="sound", value=50, quantity_unit="dB(A)", value_si=50)
    builders.a_published_point(unit=unit)
    assert cells(page(visitor, unit), "Sound level")[2:] == ["not measured", "not judged"]


def test_the_units_one_figure_stands_beside_the_claim_it_was_brought_to_and_no_other(unit, visitor):
    mild = Claim.objects.create(
        unit=unit, quantity="capacity", value=2600, quantity_unit="W", value_si=2600, outdoor_temp_c=27.8,
        condition_name="27.8 °C outdoors",
    )  # fmt: skip
    judged = [CANNOT_TELL | {"words": "meets"}, CANNOT_TELL | {"claimed": 2600.0, "measured": 2550.0}]
    builders.a_published_point(unit=unit, capacity_w=2300.0, capacity_u95_w=60.0, detail={"verdicts": judged})
    rows = page(visitor, unit).split('<th scope="row">Cooling capacity</th>')[1:]
    beside = {
        mild.condition_name in row: " ".join(re.sub("<[^>]+>", " ", row.split("</tr>")[0]).split()) for row in rows
    }
    assert "2,300 ± 60 W" in beside[False]
    assert "2,300 ± 60 W" not in beside[True]
    assert "2,600 ± 400 W" in beside[True]  # 2550 ± 420, rounded to the uncertainty


def test_a_mean_of_points_says_so_and_by_which_of_them_it_is_judged(unit, visitor):
    for capacity, u95 in ((2300.0, 60.0), (2320.0, 90.0)):
        builders.a_published_point(unit=unit, label=f"run {u95:g}", capacity_w=capacity, capacity_u95_w=u95,
                                   detail={"verdicts": [CANNOT_TELL | {"words": "meets"}]})  # fmt: skip
    _, _, measured, verdict = cells(page(visitor, unit), "Cooling capacity")
    assert measured.endswith("tested at the rating condition, mean of 2 points")
    assert "Judged by run 60, " in verdict


@pytest.mark.parametrize("explained", ["the headline point", "another point", "none"])
def test_every_picture_that_a_page_asks_for_without_a_script_is_there(unit, visitor, explained):
    """The steps are those of the point at the claim's condition; another point's are not drawn and not asked for."""
    head, other = (
        {"shortfall": STEPS} if explained == which else {} for which in ("the headline point", "another point")
    )
    builders.a_published_point(unit=unit, detail=head)
    builders.a_published_point(unit=unit, outdoor_temp_c=28.0, detail=other)
    shelf.refresh([unit])
    asked = re.findall(r'<noscript><img src="([^"]+)"', page(visitor, unit).replace("&amp;", "&"))
    asked += re.findall(r'<noscript><img src="([^"]+)"', visitor.get(f"{reverse('compare')}?unit={unit.pk}").text)
    assert any("/shortfall.svg" in address for address in asked) == (explained == "the headline point")
    answers = {address.split("?")[0]: visitor.get(address.replace("&amp;", "&")).status_code for address in asked}
    assert set(answers.values()) == {200}


def test_no_page_asks_for_a_picture_of_what_was_not_measured(unit, visitor):
    builders.a_published_point(unit=unit, eer_btu_per_wh=None)
    asked = re.findall(r"/charts/([\w-]+)\.svg", page(visitor, unit))
    assert "capacity-outdoor" in asked
    assert [name for name in asked if name.startswith("eer")] == []
