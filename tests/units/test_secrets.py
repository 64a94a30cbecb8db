"""Secrets that open something: found by their digests, and answered alike whatever is wrong with them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests import publishing
from units.actions import invitations, shares, tokens
from units.models import ApiToken, Bench, Invitation, ShareLink

pytestmark = pytest.mark.django_db
Ask = Callable[[str], HttpResponse]


def asked_for_draft(secret: str) -> HttpResponse:
    return Client().get(reverse("shared", args=[secret]))


def answered_draft(secret: str) -> HttpResponse:
    return Client().post(reverse("shared-reply", args=[secret]), {"name": "A", "text": "B"})


def asked_to_join(secret: str) -> HttpResponse:
    return Client().get(reverse("invitation", args=[secret]))


def joined(secret: str) -> HttpResponse:
    made = {"username": "nils", "password1": "nine quiet herons", "password2": "nine quiet herons"}
    return Client().post(reverse("invitation", args=[secret]), made)


def asked_api(secret: str) -> HttpResponse:
    return Client().get("/api/units/", headers={"Authorization": f"Bearer {secret}"})


def a_link(bench: Bench, owner: Client) -> str:
    review = publishing.a_ready_review(bench, owner.person)
    return shares.share(review=review, label="Press", days=7, by=owner.person)[1]


def an_invitation(bench: Bench, owner: Client) -> str:
    return invitations.invite(bench=bench, label="Nils", offered_role="reader", days=7, by=owner.person)[1]


def a_token(bench: Bench, owner: Client) -> str:
    return tokens.make(bench=bench, label="logger", token_role="reader", days=7, by=owner.person)[1]


KINDS = [
    pytest.param(a_link, ShareLink, asked_for_draft, 404, id="draft"),
    pytest.param(a_link, ShareLink, answered_draft, 404, id="answer"),
    pytest.param(an_invitation, Invitation, asked_to_join, 404, id="invitation"),
    pytest.param(an_invitation, Invitation, joined, 404, id="joining"),
    pytest.param(a_token, ApiToken, asked_api, 401, id="token"),
]


def told(answer: HttpResponse) -> tuple[int, dict[str, str], str]:
    """Return status, headers and body; but for what is drawn anew each time."""
    body = re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", answer.content.decode())
    return answer.status_code, dict(answer.headers), re.sub(r"/(shared|invited)/[^/\"]+/", r"/\1/…/", body)


@pytest.mark.parametrize(("make", "model", "ask", "refused"), KINDS)
def test_a_secret_is_looked_up_by_its_digest_and_never_itself(
    make: Callable[[Bench, Client], str], model: type, ask: Ask, refused: int, bench: Bench, owner: Client
) -> None:
    """A database compares byte by byte and may stop early; of a digest that tells nothing about the secret."""
    secret = make(bench, owner)
    with CaptureQueriesContext(connection) as queries:
        assert ask(secret).status_code != refused
    asked = " ".join(query["sql"] for query in queries.captured_queries)
    assert hashlib.sha256(secret.encode()).hexdigest() in asked
    assert secret not in asked
    assert [row for row in model.objects.values() if secret in str(row)] == []


@pytest.mark.parametrize(("make", "model", "ask", "refused"), KINDS)
def test_unknown_expired_and_revoked_are_answered_alike(
    make: Callable[[Bench, Client], str], model: type, ask: Ask, refused: int, bench: Bench, owner: Client
) -> None:
    secret, before = make(bench, owner), timezone.now() - timedelta(seconds=1)
    unknown = told(ask("x" * len(secret)))
    model.objects.update(expires_at=before)
    expired = told(ask(secret))
    model.objects.update(expires_at=before + timedelta(days=1), revoked_at=before)
    revoked = told(ask(secret))
    nearly = told(ask(secret[:-1] + "~"))
    assert unknown[0] == refused
    assert unknown == expired == revoked == nearly


@pytest.mark.parametrize(("make", "model", "ask", "refused"), KINDS)
def test_a_refusal_costs_as_many_queries_whatever_is_wrong(
    make: Callable[[Bench, Client], str], model: type, ask: Ask, refused: int, bench: Bench, owner: Client
) -> None:
    """What takes longer where something exists tells that it exists."""
    secret, counts = make(bench, owner), []
    for change in ({}, {"expires_at": timezone.now()}, {"revoked_at": timezone.now()}):
        model.objects.update(**change)
        with CaptureQueriesContext(connection) as queries:
            ask(secret if change else "x" * len(secret))
        counts.append(len(queries))
    assert counts[0] == counts[1] == counts[2]


def test_what_is_compared_in_the_program_is_compared_in_constant_time() -> None:
    """`==` on a secret stops at the first letter that differs; whoever measures that guesses letter by letter."""
    plain = re.compile(
        r"(==|!=)\s*\w*(secret|token|METRICS_TOKEN|otp|digest_of_code)\b|\b(secret|METRICS_TOKEN|otp|code)\s*(==|!=)"
    )
    ours = [path for app in ("units", "tests_app") for path in sorted(Path(settings.BASE_DIR, app).rglob("*.py"))]
    found = [
        f"{path.name}: {line}" for path in ours for line in path.read_text("utf-8").splitlines() if plain.search(line)
    ]
    assert found == []


def test_the_metrics_secret_is_compared_in_constant_time(visitor: Client, settings, monkeypatch) -> None:
    compared = []
    settings.METRICS_TOKEN = "a-long-secret-of-the-machine"
    monkeypatch.setattr("units.views.health.constant_time_compare", lambda *both: compared.append(both) or False)
    assert visitor.get("/metrics", headers={"Authorization": "Bearer a-guess"}).status_code == 404
    assert compared == [("a-guess", "a-long-secret-of-the-machine")]
