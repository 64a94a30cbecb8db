"""A review in work: bound figures, what goes stale, what must be in order before it is published."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from reduction import session as doc
from tests import builders, publishing
from tests_app.models import Finding
from units.actions import editions, reviews
from units.editions.checklist import checklist, open_faults
from units.editions.material import Material
from units.models import Bench, Claim, Edition, Review, Unit


@pytest.fixture
def review(bench: Bench, owner: Client) -> Review:
    return publishing.a_ready_review(bench, owner.person)


def faults(review: Review) -> list[str]:
    return open_faults(Material.of(Review.objects.get(pk=review.pk)))


# --- figures bound to points ---------------------------------------------------------------------------------


def test_a_review_begins_with_the_units_usable_points_under_short_names(bench: Bench, owner: Client) -> None:
    unit = publishing.a_told_unit(bench)
    publishing.a_telling_reduction(unit, publishing.a_telling_point(), publishing.a_telling_point(usable=False))
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    assert (review.title, review.slug) == (str(unit), "quellmar-" + unit.model.lower())
    assert list(Material.of(review).points) == ["P1"]


def test_a_short_name_is_never_given_to_another_point(bench: Bench, owner: Client) -> None:
    unit = publishing.a_told_unit(bench)
    reduction = publishing.a_telling_reduction(unit, *(publishing.a_telling_point(label=name) for name in "AB"))
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    points = {review.point_keys[str(point.pk)]: point for point in reduction.points.all()}
    reviews.choose(review=review, points=[points["P1"]], by=owner.person)
    third = builders.a_point(unit=unit)
    reviews.choose(review=review, points=[points["P1"], third], by=owner.person)
    assert list(Material.of(review).points) == ["P1", "P3"]
    reviews.choose(review=review, points=points.values(), by=owner.person)
    assert list(Material.of(review).points) == ["P1", "P2"]


def test_a_changed_point_makes_the_draft_say_that_its_text_is_out_of_date(review: Review, owner: Client) -> None:
    publishing.reduced_again(review, capacity_w=2100.0)
    assert faults(review) == ["P1 was reduced again since: take the newer results."]
    owner.post(f"/reviews/{review.pk}/newer/")
    page = owner.get(f"/reviews/{review.pk}/").content.decode().replace("\xa0", " ")
    assert "The text is out of date" in page
    assert "<del>2,300 ± 60 W" in page
    assert "<ins>2,100 ± 60 W" in page
    with pytest.raises(ValidationError, match="read it again and save"):
        editions.publish(review=review, by=owner.person)
    reviews.write(review=Review.objects.get(pk=review.pk), by=owner.person)
    assert faults(review) == []


def test_a_figure_is_written_with_its_uncertainty_and_follows_the_point(review: Review, owner: Client) -> None:
    preview = owner.get(f"/reviews/{review.pk}/preview/").content.decode().replace("\xa0", " ")
    assert "It removed" in preview
    assert ">2,300 ± 60 W (7,800 ± 200 Btu/h)</a>" in preview


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{{ P9 capacity }}", "{{ P9 capacity }} names no figure of a chosen point."),
        ("{{ P1 beauty }}", "{{ P1 beauty }} names no figure of a chosen point."),
        ("{{ chart nothing }}", "There is no chart “nothing”."),
        ("{{ table nothing }}", "There is no table “nothing”; there are points and claims."),
    ],
)
def test_a_reference_to_nothing_is_said(text: str, said: str, review: Review, owner: Client) -> None:
    reviews.write(review=review, body=text, by=owner.person)
    assert said in faults(review)


# --- the checklist ---------------------------------------------------------------------------------------------


def test_a_ready_review_has_nothing_open(review: Review) -> None:
    assert faults(review) == []
    assert {check.title: check.faults for check in checklist(Material.of(review)) if check.faults} == {
        "The maker was heard": ("No attempt to reach the maker is recorded; the page will say so.",)
    }


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: Unit.objects.update(obtained=""), "Say how"),
        (lambda r: Unit.objects.update(afterwards=""), "Say what becomes of"),
        (lambda r: Review.objects.update(disclosure=" "), "Write the disclosure"),
        (lambda r: Claim.objects.update(stated_in=""), "claim is stated: Cooling capacity 8000 Btu/h."),
        (lambda r: r.points.clear(), "Choose at least one point."),
        (lambda r: Review.objects.update(summary=f"Seen in {publishing.FILES[0]}."), "summary tells the name of a log"),
        (lambda r: Review.objects.update(disclosure=publishing.NOTE), "disclosure tells a note of the bench"),
        (lambda r: Unit.objects.update(obtained_detail=f"No. {publishing.SERIAL}"), "tells the unit's serial number"),
    ],
)
def test_what_is_not_in_order_stops_publication_in_words(change: Any, said: str, review: Review, owner: Client) -> None:
    change(review)
    with pytest.raises(ValidationError) as stopped:
        editions.publish(review=review, by=owner.person)
    assert said in " ".join(stopped.value.messages)
    assert not Edition.objects.exists()


def test_a_severe_finding_needs_an_answer_which_is_printed_with_it(bench: Bench, owner: Client) -> None:
    severe = publishing.TELLING.model_copy(update={"severity": doc.Severity.SEVERE})
    review = publishing.a_ready_review(bench, owner.person, publishing.a_telling_point(findings=(severe,)))
    row = review.points.get()
    finding = Finding.objects.create(
        reduction=row.reduction, point=row, code=severe.code, severity="severe", sentence=severe.sentence
    )
    with pytest.raises(ValidationError, match="Answer the severe finding"):
        editions.publish(review=review, by=owner.person)
    owner.post(f"/reviews/{review.pk}/answers/", {f"answer-{finding.pk}": "It was changed; the twin sensor agrees."})
    editions.publish(review=review, by=owner.person)
    page = owner.get(f"/published/{review.slug}/").content.decode()
    assert "It was changed; the twin sensor agrees." in page
    assert publishing.COLUMN not in page


def test_points_judged_by_two_versions_of_the_method_are_not_published_together(bench: Bench, owner: Client) -> None:
    unit = publishing.a_told_unit(bench)
    for version in ("1", "2"):
        publishing.a_telling_reduction(unit, method_version=version)
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    assert "The points were judged by method versions 1, 2: reduce the older sessions again." in faults(review)


def test_a_number_without_a_unit_is_pointed_out_and_a_year_is_not(review: Review, owner: Client) -> None:
    reviews.write(review=review, body="In 2026 it said 8000 but moved 2300 W at 230 V.", by=owner.person)
    (check,) = [check for check in checklist(Material.of(review)) if check.title == "Numbers in the text have units"]
    assert [fault.split("”")[0] for fault in check.faults] == ["“8000"]
    assert not check.blocks


# --- text ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "hostile",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "[x](javascript:alert(1))",
        "![x](https://tracker.example/pixel.png)",
        '<a href="https://x.example" onclick="alert(1)">x</a>',
        "<iframe src=//x.example></iframe>",
        "{{ <b>P1</b> capacity }}",
        "\ue0000\ue001",
    ],
)
def test_text_can_do_no_harm(hostile: str, review: Review, owner: Client) -> None:
    reviews.write(review=review, body=hostile, by=owner.person)
    page = owner.get(f"/reviews/{review.pk}/preview/").content.decode()
    body = page.split('<div class="prose">')[1].split("</div>")[0]
    assert re.findall(r"<(?:script|img|iframe|b)\b|<[^>]*(?:\son\w+=|javascript:)", body) == []


def test_the_live_preview_shows_posted_text_and_saves_nothing(review: Review, tester: Client) -> None:
    shown = tester.post(f"/reviews/{review.pk}/preview/", {"body": "Now **bolder**: {{ P1 eer }}"}).content.decode()
    assert "<strong>bolder</strong>" in shown
    assert "11.2" in shown
    assert Review.objects.get(pk=review.pk).body == "It removed {{ P1 capacity }}."


def test_a_reader_sees_the_draft_and_cannot_change_it(review: Review, reader: Client) -> None:
    page = reader.get(f"/reviews/{review.pk}/")
    assert page.status_code == 200
    assert 'name="body"' not in page.content.decode()
    assert reader.post(f"/reviews/{review.pk}/", {"title": "Mine"}).status_code == 403
    assert reader.post(f"/reviews/{review.pk}/preview/", {"body": "x"}).status_code == 200


def test_a_tester_writes_and_an_owner_publishes(review: Review, tester: Client, owner: Client) -> None:
    data = {"title": "By the tester", "licence": "CC BY 4.0", "disclosure": "Bought.", "body": "Text."}
    assert tester.post(f"/reviews/{review.pk}/", data).status_code == 302
    assert tester.post(f"/reviews/{review.pk}/publish/", {"read": "on"}).status_code == 403
    assert owner.post(f"/reviews/{review.pk}/publish/", {"read": "on"}).status_code == 302
    assert Edition.objects.get().review.title == "By the tester"


def test_publishing_shows_what_stands_in_the_way(review: Review, owner: Client) -> None:
    Unit.objects.update(obtained="")
    page = owner.post(f"/reviews/{review.pk}/publish/", {"read": "on"})
    assert page.status_code == 422
    assert "was obtained." in page.content.decode()


def test_an_attempt_to_reach_the_maker_is_recorded_and_printed(review: Review, owner: Client) -> None:
    owner.post(
        f"/reviews/{review.pk}/contacts/",
        {"on": "2026-08-01", "at": "09:30", "how": "Letter", "outcome": "No answer yet"},
    )
    editions.publish(review=Review.objects.get(pk=review.pk), by=owner.person)
    page = owner.get(f"/published/{review.slug}/").content.decode()
    assert "1 August 2026, 09:30" in page
    assert "No answer yet" in page
    assert "None received." in page


def test_a_review_is_begun_from_its_unit(bench: Bench, owner: Client) -> None:
    unit = publishing.a_told_unit(bench)
    publishing.a_telling_reduction(unit)
    assert f"/reviews/new/?unit={unit.pk}" in owner.get(f"/units/{unit.pk}/").content.decode()
    assert "checked" in owner.get(f"/reviews/new/?unit={unit.pk}").content.decode()
    answer = owner.post("/reviews/new/", {"units": [str(unit.pk)]})
    assert answer["Location"] == f"/reviews/{Review.objects.get().pk}/"
