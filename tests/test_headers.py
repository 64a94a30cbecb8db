"""What each address tells a browser, asked of every one there is: the addresses come from the table of roles."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests.test_every_url import TABLE, arguments_of, scene  # noqa: F401 - the scene is a fixture

FRAMED = {"edition-embed"}  # for frames on any other site
PUBLIC = {"data-set", "feed", "sitemap", "robots"}  # and every address that begins with one of these words
KEPT_BY_ALL = (
    "edition",
    "api-published",
    "api-editions",
    "api-openapi",
    "api-schema",
    "published",
    "catalogue",
    "method",
)


def policy_of(answer: HttpResponse) -> dict[str, list[str]]:
    parts = (part.split() for part in answer["Content-Security-Policy"].split(";"))
    return {name: sources for name, *sources in parts}


def faults_of(name: str, answer: HttpResponse) -> list[str]:
    """Return what is wrong with an answer's headers."""
    policy, frames = policy_of(answer), "*" if name in FRAMED else "'none'"
    wanted = {
        "unsafe sources": not [source for sources in policy.values() for source in sources if "unsafe" in source],
        "script-src": policy["script-src"] == ["'self'"],
        "default-src": policy["default-src"] == ["'self'"],
        "object-src": policy["object-src"] == ["'none'"],
        "base-uri": policy["base-uri"] == ["'self'"],
        "form-action": policy["form-action"] == ["'self'"],
        "style-src": policy["style-src"][0] == "'self'",
        "frame-ancestors": policy["frame-ancestors"] == [frames],
        "X-Frame-Options": answer.headers.get("X-Frame-Options") == (None if name in FRAMED else "DENY"),
        "nosniff": answer["X-Content-Type-Options"] == "nosniff",
        "referrer": answer["Referrer-Policy"] == "same-origin",
        "opener": answer["Cross-Origin-Opener-Policy"] == "same-origin",
        "kept by a shared cache": "public" not in answer.headers.get("Cache-Control", "")
        or name in PUBLIC or name.startswith(KEPT_BY_ALL),
    }  # fmt: skip
    return [f"{name}: {what}" for what, holds in wanted.items() if not holds]


@pytest.mark.parametrize("role", ["visitor", "owner"])
def test_every_answer_forbids_what_it_does_not_need(
    role: str,
    scene: dict[str, Any],  # noqa: F811
    request: pytest.FixtureRequest,
) -> None:
    client: Client = request.getfixturevalue(role)
    faults = []
    for name, (method, *_) in TABLE.items():
        with transaction.atomic():
            answer = getattr(client, method)(reverse(name, kwargs=arguments_of(name, scene)))
            faults += faults_of(name, answer)
            b"".join(answer)  # to its end: closing it by hand would close the test's connection too
            transaction.set_rollback(True)
        if role == "owner":
            client.force_login(client.person)  # one of the addresses signs out
    assert faults == []


@pytest.mark.parametrize("name", ["edition", "edition-numbered", "edition-embed", "review-preview", "shared"])
def test_a_page_that_carries_its_style_names_it_by_its_digest(
    name: str,
    scene: dict[str, Any],  # noqa: F811
    owner: Client,
) -> None:
    from units.editions.policy import style_sources

    address = reverse(name, kwargs=arguments_of(name, scene))
    answer = owner.get(address)
    (carried,) = style_sources(answer.content)
    assert policy_of(answer)["style-src"] == ["'self'", carried]
    assert b" style=" not in answer.content, "no policy without unsafe words allows a style on an element"
    packed = owner.get(address, headers={"Accept-Encoding": "gzip"})
    assert policy_of(packed)["style-src"] == ["'self'", carried]
    if etag := answer.headers.get("ETag"):
        known = owner.get(address, headers={"If-None-Match": etag})
        assert known.status_code == 304
        assert policy_of(known)["style-src"] == ["'self'", carried]
