"""How claims were judged, in what is published: the rule, when it was chosen, and what became of it."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from reduction import session as doc
from reduction.judge.decision import in_words
from tests import builders, publishing
from tests_app import session_document
from tests_app.actions import decisions
from tests_app.models import Reduction
from units.actions import editions, reviews
from units.editions.checklist import open_faults
from units.editions.material import Material
from units.models import Review

pytestmark = pytest.mark.django_db

GUARDED = doc.DecisionRule(rule="guard_band")
WHY = f"Asked for by {publishing.INSTRUMENT} and by a reader."


@pytest.fixture
def review(bench, owner) -> Review:
    return publishing.a_ready_review(bench, owner.person)


def judged_again(review: Review, owner: Any) -> Reduction:
    """Change the rule after the result, reduce again and take the newer points into the review."""
    before = review.points.first().reduction
    decisions.choose(session=before.session, rule=GUARDED, why=WHY, by=owner.person)
    decision = session_document.decision_of(before.session).model_dump(mode="json")
    after = builders.a_reduction(
        session=before.session,
        points=(publishing.a_telling_point(),),
        document=publishing.DOCUMENT | {"decision": decision},
        supersedes=before,
        reduced_at=before.reduced_at + timedelta(days=1),
    )
    reviews.take_newer(review=review, by=owner.person)
    return after


def page_of(client: Any, review: Review) -> str:
    return client.get(reverse("edition", args=[review.slug])).content.decode()


def test_a_page_names_the_rule_and_says_that_none_was_chosen(review: Review, owner, client) -> None:
    editions.publish(review=review, by=owner.person)
    page = page_of(client, review)
    assert in_words(doc.DecisionRule()).capitalize()[1:] in page
    assert "Nobody chose a rule before the data, so the usual one was taken." in page


def test_a_rule_that_changed_after_the_result_is_told_with_day_and_reason_and_without_private_names(
    review: Review, owner, client
) -> None:
    judged_again(review, owner)
    edition = editions.publish(review=review, by=owner.person)
    (change,) = json.loads(edition.document)["sessions"]["S1"]["decision"]["changes"]
    page = page_of(client, review)
    assert (change["before"], change["now"], change["after"]) == (
        in_words(doc.DecisionRule()),
        in_words(GUARDED),
        "result",
    )
    assert change["why"] == "Asked for by power meter and by a reader."
    for said in (change["why"], change["before"], change["now"], "was changed after its result was known"):
        assert said in page
    assert owner.person.username not in page + edition.document


def test_a_correction_shows_another_rule_as_old_and_new(review: Review, owner) -> None:
    editions.publish(review=review, by=owner.person)
    judged_again(review, owner)
    edition = editions.publish(review=review, erratum="Judged by a guard band from now on.", by=owner.person)
    changes = json.loads(edition.document)["errata"][0]["changes"]
    assert {"what": "Decision rule", "before": in_words(doc.DecisionRule()), "now": in_words(GUARDED)} in changes


def test_a_rule_changed_and_not_yet_applied_stops_a_publication(review: Review, owner) -> None:
    session = review.points.first().reduction.session
    decisions.choose(session=session, rule=GUARDED, why=WHY, by=owner.person)
    with pytest.raises(ValidationError, match="The decision rule of session S1 was changed since: reduce it again"):
        editions.publish(review=review, by=owner.person)


def test_points_judged_by_different_rules_do_not_stand_on_one_page(review: Review, owner) -> None:
    unit = review.units.get()
    other = builders.a_session(bench=review.bench, unit=unit, name=publishing.SESSION)
    decisions.choose(session=other, rule=GUARDED, by=owner.person)
    decision = session_document.decision_of(other).model_dump(mode="json")
    builders.a_reduction(
        session=other,
        points=(publishing.a_telling_point(label="B"),),
        document=publishing.DOCUMENT | {"decision": decision},
    )
    points = [point for session in unit.sessions.all() for point in session.reductions.get().points.all()]
    reviews.choose(review=review, points=points, by=owner.person)
    faults = open_faults(Material.of(review))
    assert any("judged by different decision rules" in fault for fault in faults)
