"""Private links: what who holds one can do, until when, and what a maker answers through it."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.utils import timezone

from tests import publishing
from units.actions import editions, reviews, shares
from units.models import Bench, MakerComment, Review, ShareLink


@pytest.fixture
def review(bench: Bench, owner: Client) -> Review:
    return publishing.a_ready_review(bench, owner.person)


@pytest.fixture
def address(review: Review, owner: Client) -> str:
    _, secret = shares.share(review=review, label="The maker's press office", days=7, by=owner.person)
    return f"/shared/{secret}/"


def test_the_secret_is_kept_only_as_its_hash(review: Review, owner: Client) -> None:
    link, secret = shares.share(review=review, label="x", days=7, by=owner.person)
    kept = json.dumps({field.name: str(getattr(link, field.attname)) for field in ShareLink._meta.concrete_fields})
    assert secret not in kept
    assert len(secret) >= 43  # 256 bits in base64
    assert secret not in owner.get(f"/reviews/{review.pk}/").content.decode()


def test_the_link_shows_the_draft_and_nothing_private(address: str, visitor: Client) -> None:
    page = visitor.get(address).content.decode()
    assert "A private draft, not published" in page
    assert ".notice--info{" in page.partition("</style>")[0]
    assert "2,300" in page
    assert [text for text in publishing.PRIVATE if text in page] == []


def test_the_link_is_not_indexed_not_cached_and_not_told_to_other_sites(address: str, visitor: Client) -> None:
    answer = visitor.get(address)
    assert answer["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert answer["Cache-Control"] == "private, no-store"
    assert answer["Referrer-Policy"] == "same-origin"
    assert '<meta name="robots" content="noindex, nofollow">' in answer.content.decode()


def test_an_expired_a_revoked_and_an_invented_link_answer_alike(
    address: str, owner: Client, visitor: Client, review: Review
) -> None:
    link = ShareLink.objects.get()
    shares.revoke(link=link, by=owner.person)
    revoked = visitor.get(address)
    ShareLink.objects.filter(pk=link.pk).update(revoked_at=None, expires_at=timezone.now() - timedelta(seconds=1))
    expired = visitor.get(address)
    invented = visitor.get("/shared/" + "x" * 43 + "/")
    assert [answer.status_code for answer in (revoked, expired, invented)] == [404, 404, 404]
    told = [answer.content.decode().split("<main")[1] for answer in (revoked, expired, invented)]
    assert told[0] == told[1] == told[2]
    assert visitor.post(f"{address}answer/", {"name": "A", "text": "B"}).status_code == 404


@pytest.mark.parametrize("days", [0, 91])
def test_a_link_lives_a_while_and_not_for_ever(days: int, review: Review, owner: Client) -> None:
    with pytest.raises(ValidationError, match="1 to 90 days"):
        shares.share(review=review, label="x", days=days, by=owner.person)


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_the_link_is_for_reading(method: str, address: str, visitor: Client) -> None:
    assert getattr(visitor, method)(address).status_code == 405


def test_an_answer_is_seen_by_the_owner_alone_until_it_is_accepted(
    address: str, review: Review, owner: Client, tester: Client, visitor: Client
) -> None:
    sent = visitor.post(f"{address}answer/", {"name": "Quellmar press office", "text": "Our test room differs."})
    comment = MakerComment.objects.get()
    seen = {who: "Our test room differs." in client.get(f"/reviews/{review.pk}/").content.decode()
            for who, client in (("owner", owner), ("tester", tester))}  # fmt: skip
    assert sent.status_code == 200
    assert seen == {"owner": True, "tester": False}
    assert "Our test room differs." not in visitor.get(address).content.decode()
    first = editions.publish(review=review, by=owner.person)
    assert json.loads(first.document)["replies"] == []
    reviews.accept_comment(comment=comment, by=owner.person)
    second = editions.publish(review=review, erratum="The maker's answer is printed.", by=owner.person)
    page = visitor.get(f"/published/{review.slug}/").content.decode()
    assert json.loads(second.document)["replies"][0]["text"] == "Our test room differs."
    assert "Our test room differs." in page
    assert "None received" not in page


def test_an_answer_is_text_and_never_markup(address: str, review: Review, owner: Client, visitor: Client) -> None:
    visitor.post(f"{address}answer/", {"name": "<b>x</b>", "text": "<script>alert(1)</script>"})
    reviews.accept_comment(comment=MakerComment.objects.get(), by=owner.person)
    editions.publish(review=review, by=owner.person)
    page = visitor.get(f"/published/{review.slug}/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_a_link_for_reading_only_takes_no_answer(review: Review, owner: Client, visitor: Client) -> None:
    _, secret = shares.share(review=review, label="x", days=7, may_comment=False, by=owner.person)
    answer = visitor.post(f"/shared/{secret}/answer/", {"name": "A", "text": "B"})
    assert answer.status_code == 422
    assert MakerComment.objects.count() == 0


def test_a_link_carries_so_many_answers_and_no_more(review: Review, owner: Client) -> None:
    link, _ = shares.share(review=review, label="x", days=7, by=owner.person)
    for number in range(shares.MOST_COMMENTS):
        shares.comment(by=link, name="A", text=str(number))
    with pytest.raises(ValidationError, match="carried 20 answers already"):
        shares.comment(by=link, name="A", text="once more")


def test_making_a_link_shows_it_once(review: Review, owner: Client, visitor: Client) -> None:
    made = owner.post(f"/reviews/{review.pk}/share/", {"label": "Press", "days": "7", "may_comment": "on"})
    (address,) = [word for word in made.content.decode().split('"') if "/shared/" in word]
    assert visitor.get(address.removeprefix("http://testserver")).status_code == 200
    assert made["Cache-Control"] == "private, no-store"
