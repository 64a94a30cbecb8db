"""The machine's clock steps back: order is by what follows what, ends that were set hold, nobody is locked out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from tests import builders, publishing
from tests_app.actions import reduce
from tests_app.models import Reduction
from units.actions import editions, shares, sign_in, tokens
from units.models import Bench, PublishedPoint

pytestmark = pytest.mark.django_db

AN_HOUR = timedelta(hours=1)


@pytest.fixture
def an_hour_back(time_machine: Any) -> Any:
    """Return a function that sets the clock back by an hour."""
    return lambda: time_machine.move_to(datetime.now(UTC) - AN_HOUR, tick=True)


def test_the_later_edition_stands_though_the_clock_says_it_is_older(
    bench: Bench, owner: Client, visitor: Client, an_hour_back: Any
) -> None:
    first = publishing.a_published_review(bench, owner.person)
    an_hour_back()
    second = editions.publish(review=first.review, by=owner.person, erratum="A typing error.")
    assert second.published_at < first.published_at
    page = visitor.get(reverse("edition", args=[first.review.slug]))
    assert "A typing error." in page.content.decode()
    assert set(PublishedPoint.objects.filter(is_current=True).values_list("edition", flat=True)) == {second.pk}
    feed = visitor.get(reverse("feed")).content.decode()
    assert "A typing error." in feed or f"/{first.review.slug}/2/" in feed


def test_the_later_reduction_stands_though_the_clock_says_it_is_older(
    bench: Bench, owner: Client, an_hour_back: Any
) -> None:
    session = builders.a_session(
        bench=bench, with_logs=["temperatures", "plugs"], reduction_settings={"monte_carlo_draws": 2000}
    )
    first = reduce.run_and_store(session=session, by=owner.person)
    an_hour_back()
    session.notes = "once more"
    session.save()
    second = reduce.run_and_store(session=session, by=owner.person)
    assert second.reduced_at < first.reduced_at
    assert reduce.standing_reduction(session) == second
    assert second.supersedes == first
    assert Reduction.objects.count() == 2


def test_failed_sign_ins_of_a_later_hour_lock_nobody_out(bench: Bench, an_hour_back: Any) -> None:
    facts = {"name": "tomas", "address": "192.0.2.7"}
    for _ in range(sign_in.MOST_OF_NAME_AND_ADDRESS):
        sign_in.failed(**facts)
    assert sign_in.wait_s(**facts) > 0
    an_hour_back()
    assert sign_in.wait_s(**facts) == 0


def test_what_was_revoked_stays_revoked(bench: Bench, owner: Client, visitor: Client, an_hour_back: Any) -> None:
    token, secret = tokens.make(bench=bench, label="script", token_role="reader", days=7, by=owner.person)
    review = publishing.a_ready_review(bench, owner.person)
    link, shared = shares.share(review=review, label="maker", days=7, by=owner.person)
    tokens.revoke(token=token, by=owner.person)
    shares.revoke(link=link, by=owner.person)
    an_hour_back()
    assert tokens.holder(secret) is None
    assert visitor.get(reverse("shared", args=[shared])).status_code == 404


def test_what_lives_for_a_time_does_not_end_before_it(
    bench: Bench, owner: Client, visitor: Client, an_hour_back: Any
) -> None:
    _, secret = tokens.make(bench=bench, label="script", token_role="reader", days=1, by=owner.person)
    an_hour_back()
    assert tokens.holder(secret) is not None
    assert owner.get(reverse("bench-home")).status_code == 200
