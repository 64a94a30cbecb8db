"""Editions: frozen, hashed, corrected by the next one, withdrawn in the open."""

from __future__ import annotations

import hashlib
import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import models
from django.test import Client
from django.utils import timezone

from reduction import session as doc
from tests import publishing
from tests_app.models import Session
from units.actions import editions, reviews
from units.editions.document import canonical
from units.models import Bench, CatalogueEntry, Edition, MakerComment, PublishedPoint, Review, Unit, Withdrawal
from units.models.immutable import WrittenOnce


@pytest.fixture
def edition(bench: Bench, owner: Client) -> Edition:
    return publishing.a_published_review(bench, owner.person)


def held(edition: Edition) -> dict[str, Any]:
    return json.loads(edition.document)


# --- what is frozen ---------------------------------------------------------------------------------------


def test_the_digest_is_the_sha256_of_the_document(edition: Edition, tmp_path: Path) -> None:
    """Against coreutils' sha256sum on the downloaded bytes."""
    answer = Client().get(f"/published/{edition.review.slug}/1/edition.json")
    path = tmp_path / "edition.json"
    path.write_bytes(answer.content)
    said = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
    page = Client().get(f"/published/{edition.review.slug}/1/").content.decode()
    assert said == edition.sha256
    assert f'id="sha256">{said}<' in page


def test_a_document_has_one_way_to_be_written(edition: Edition) -> None:
    assert canonical(held(edition)).decode() == edition.document
    assert canonical({"b": [1.0], "a": "<é"}) == b'{"a":"\\u003c\xc3\xa9","b":[1.0]}'


def test_a_document_with_a_number_that_json_does_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        canonical({"a": float("nan")})


def test_an_edition_holds_the_points_with_budget_method_and_input_digest(edition: Edition) -> None:
    document = held(edition)
    point, session = document["points"]["P1"], document["sessions"]["S1"]
    row = edition.review.points.get()
    assert (point["capacity_w"], point["capacity_u95_w"]) == (2300.0, 60.0)
    assert point["budget"][0]["contribution_w"] == 30.0
    assert session["input_sha256"] == row.reduction.input_sha256
    assert session["method_version"] == row.reduction.method_version
    assert [chart["name"] for chart in document["charts"]] == ["capacity-outdoor", "eer-outdoor"]
    assert all(chart["svg"].startswith("<svg") and chart["table"] for chart in document["charts"])


def test_a_first_edition_corrects_nothing_and_has_no_predecessor(edition: Edition) -> None:
    assert (edition.number, edition.erratum, edition.supersedes) == (1, "", None)
    assert (held(edition)["errata"], held(edition)["previous_sha256"]) == ([], "")


def test_published_points_stand_in_the_catalogue_with_the_edition(edition: Edition) -> None:
    unit = edition.review.units.get()
    point = PublishedPoint.objects.get(unit=unit)
    entry = CatalogueEntry.objects.get(unit=unit, audience="public")
    assert (point.is_current, point.edition, point.capacity_w) == (True, edition, 2300.0)
    assert (entry.point_count, entry.capacity_w) == (1, 2300.0)


# --- what can be changed afterwards: nothing ----------------------------------------------------------------

ATTEMPTS = {
    "save": lambda row: row.save(),
    "save of one field": lambda row: row.save(update_fields=["html"]),
    "save as new": lambda row: row.save(force_insert=False),
    "delete": lambda row: row.delete(),
    "update of a query": lambda row: type(row).objects.filter(pk=row.pk).update(html="other"),
    "update through the review": lambda row: row.review.editions.update(html="other"),
    "update through the base manager": lambda row: type(row)._base_manager.filter(pk=row.pk).update(html="other"),
    "delete of a query": lambda row: type(row).objects.all().delete(),
    "bulk update": lambda row: type(row).objects.bulk_update([row], ["html"]),
    "update or create": lambda row: type(row).objects.update_or_create(pk=row.pk, defaults={"html": "other"}),
    "upsert": lambda row: type(row).objects.bulk_create(
        [row], update_conflicts=True, update_fields=["html"], unique_fields=["id"]
    ),
}


@pytest.mark.parametrize("attempt", ATTEMPTS)
def test_an_edition_is_written_once(attempt: str, edition: Edition) -> None:
    before = edition.html
    edition.html = "other"
    with pytest.raises(WrittenOnce, match="written once"):
        ATTEMPTS[attempt](edition)
    assert Edition.objects.get(pk=edition.pk).html == before


def test_what_an_edition_stands_on_cannot_be_deleted(edition: Edition) -> None:
    for row in (edition.review, edition.review.bench, edition.review.units.get()):
        with pytest.raises(models.ProtectedError):
            row.delete()
    assert Edition.objects.filter(pk=edition.pk).exists()


NEVER_CHANGED = (
    *("", "edition.json", "points.csv", "edition.html", "embed/eer-outdoor/"),
    *("charts/eer-outdoor.svg", "charts/eer-outdoor.png", "charts/eer-outdoor.json", "charts/eer-outdoor.csv"),
)


def test_changing_or_deleting_anything_afterwards_leaves_the_bytes_the_same(edition: Edition, owner: Client) -> None:
    slug = edition.review.slug
    addresses = [f"/published/{slug}/1/{name}" for name in NEVER_CHANGED]
    before = [Client().get(address).content for address in addresses]
    review = Review.objects.get(pk=edition.review_id)
    publishing.reduced_again(review, capacity_w=1900.0)
    reviews.write(review=review, title="Another title", body="Other words.", disclosure="Else.", by=owner.person)
    review.points.clear()
    unit = review.units.get()
    unit.claims.all().delete()
    Unit.objects.filter(pk=unit.pk).update(maker="Renamed", model="X", obtained="given")
    Session.objects.filter(unit=unit).update(name="Renamed", notes="")
    Bench.objects.filter(pk=review.bench_id).update(name="Renamed bench")
    assert [Client().get(address).content for address in addresses] == before
    assert Edition.objects.get(pk=edition.pk).sha256 == hashlib.sha256(before[1]).hexdigest()


# --- corrections -------------------------------------------------------------------------------------------


def corrected(edition: Edition, owner: Client, **figures: Any) -> Edition:
    review = Review.objects.get(pk=edition.review_id)
    publishing.reduced_again(review, **figures)
    reviews.take_newer(review=review, by=owner.person)
    reviews.write(review=review, by=owner.person)
    return editions.publish(review=review, erratum="A plug was read twice.", by=owner.person)


def test_a_correction_shows_old_and_new_value_date_and_reason(edition: Edition, owner: Client) -> None:
    later = corrected(edition, owner, capacity_w=2100.0, capacity_u95_w=70.0)
    (erratum,) = held(later)["errata"]
    changes = {change["what"]: (change["before"], change["now"]) for change in erratum["changes"]}
    before, now = changes["P1, cooling capacity as tested"]
    assert (erratum["text"], erratum["corrects"], erratum["corrects_sha256"]) == (
        "A plug was read twice.", 1, edition.sha256,
    )  # fmt: skip
    assert "2,300" in before
    assert "2,100" in now
    page = Client().get(f"/published/{edition.review.slug}/").content.decode()
    assert "A plug was read twice." in page
    assert "2,300" in page
    assert f"/published/{edition.review.slug}/1/" in page


def test_a_correction_shows_another_verdict_another_origin_and_a_new_answer(edition: Edition, owner: Client) -> None:
    review = Review.objects.get(pk=edition.review_id)
    verdict = doc.Verdict(
        claim="capacity 8000 Btu/h", quantity="capacity", claimed=2344.6, measured=2100.0, measured_u95=60.0,
        quantity_unit="W", probability_meets=0.0, probability_within_tolerance=0.0, tolerance=0.05, scheme="a scheme",
        words="falls short", because="2,100 ± 60 W at the claim's condition.",
    )  # fmt: skip
    MakerComment.objects.create(review=review, name="Press office", text="We disagree.", accepted_at=timezone.now())
    review.units.update(obtained="lent")
    later = corrected(edition, owner, verdicts=(verdict,))
    changes = {change["what"]: (change["before"], change["now"]) for change in held(later)["errata"][0]["changes"]}
    assert changes["P1, verdict on capacity"] == ("not judged", "falls short")
    assert changes["The maker's answer"] == ("not in it", "Press office: We disagree.")
    bought, lent = changes["Where the units came from"]
    assert "Bought" in bought
    assert "Lent" in lent


def test_a_correction_follows_its_predecessor_and_takes_its_place_in_the_catalogue(
    edition: Edition, owner: Client
) -> None:
    later = corrected(edition, owner, capacity_w=2100.0)
    assert (later.number, later.supersedes, held(later)["previous_sha256"]) == (2, edition, edition.sha256)
    assert list(PublishedPoint.objects.filter(is_current=True).values_list("edition", flat=True)) == [later.pk]
    assert CatalogueEntry.objects.get(audience="public").capacity_w == 2100.0


def test_the_corrected_edition_stays_at_its_address_and_says_so(edition: Edition, owner: Client) -> None:
    document = Client().get(f"/published/{edition.review.slug}/1/edition.json").content
    corrected(edition, owner)
    page = Client().get(f"/published/{edition.review.slug}/1/").content.decode()
    assert "Corrected since" in page
    assert "2,300" in page
    assert Client().get(f"/published/{edition.review.slug}/1/edition.json").content == document


def test_a_correction_without_an_erratum_is_refused(edition: Edition, owner: Client) -> None:
    with pytest.raises(ValidationError, match="write the erratum"):
        editions.publish(review=edition.review, by=owner.person)
    assert Edition.objects.count() == 1


# --- withdrawal ---------------------------------------------------------------------------------------------


def test_a_withdrawn_review_says_so_and_why_at_its_address(edition: Edition, owner: Client) -> None:
    editions.withdraw(review=edition.review, reason="The sample had been tampered with.", by=owner.person)
    for address, status in ((f"/published/{edition.review.slug}/", 410), (f"/published/{edition.review.slug}/1/", 200)):
        answer = Client().get(address)
        assert answer.status_code == status
        assert "The sample had been tampered with." in answer.content.decode()
        assert edition.review.title in answer.content.decode()
    assert edition.review.title not in Client().get("/published/").content.decode()
    assert not PublishedPoint.objects.filter(is_current=True).exists()
    assert not CatalogueEntry.objects.filter(audience="public").exists()


def test_what_became_of_an_edition_is_set_above_it_with_the_style_it_needs(edition: Edition, owner: Client) -> None:
    assert ".notice--bad" not in edition.html
    editions.withdraw(review=edition.review, reason="The sample had been tampered with.", by=owner.person)
    page = Client().get(f"/published/{edition.review.slug}/1/").content.decode()
    assert '<div class="notice notice--bad"' in page
    assert ".notice{" in page.partition("</style>")[0]
    assert ".notice--bad," in page.partition("</style>")[0]
    assert page.count(".notice{border") == 1, "a rule given twice would override the page's own notices"
    assert Edition.objects.get().html == edition.html


def test_a_withdrawal_is_final_and_needs_a_reason(edition: Edition, owner: Client) -> None:
    with pytest.raises(ValidationError, match="Say why"):
        editions.withdraw(review=edition.review, reason=" ", by=owner.person)
    withdrawal = editions.withdraw(review=edition.review, reason="Wrong sample.", by=owner.person)
    with pytest.raises(ValidationError, match="withdrawn already"):
        editions.withdraw(review=edition.review, reason="Again.", by=owner.person)
    with pytest.raises(ValidationError, match="begin a new one"):
        editions.publish(review=edition.review, erratum="Back.", by=owner.person)
    with pytest.raises(WrittenOnce, match="written once"):
        withdrawal.delete()
    assert Withdrawal.objects.count() == 1


def test_a_point_that_two_reviews_publish_stands_once_and_survives_the_withdrawal_of_one(
    edition: Edition, owner: Client
) -> None:
    unit = edition.review.units.get()
    second = reviews.begin(bench=edition.review.bench, units=[unit], title="Again", by=owner.person)
    reviews.write(review=second, disclosure="Bought.", by=owner.person)
    editions.publish(review=second, by=owner.person)
    assert PublishedPoint.objects.filter(unit=unit, is_current=True).count() == 1
    editions.withdraw(review=edition.review, reason="A better text replaces it.", by=owner.person)
    assert [point.edition.review for point in PublishedPoint.objects.filter(is_current=True)] == [second]
