"""Every address under every method: what only reads answers 405 to the rest, and nothing is written without its token.

The addresses come from the resolver by way of the table of roles, so a new one is looked at without being named here.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from tests.test_every_url import TABLE, arguments_of, scene  # noqa: F401 - the scene is a fixture

UNSAFE = ("post", "put", "patch", "delete")
# Pages that show a form on GET and take it on POST; whatever else the table reads with GET only reads.
FORMS = {
    "people", "invitation", "unit-new", "units-import", "unit-edit", "session-new", "session-import", "session-edit",
    "files", "channels", "facts", "decision", "room-new", "room-edit", "room-value-new", "instrument-new",
    "instrument-edit", "instrument-calibrate", "review-new", "review", "review-publish", "review-withdraw",
    "shared-reply", "sign-in", "sign-in-code", "password-change", "tokens", "api-units", "api-sessions", "colocation",
    "season", "review-preview", "upload-part", "arrival-new", "arrival",
}  # fmt: skip
ALSO = {"api-unit": {"patch"}, "api-session-decision": {"put"}}


def taken_by(name: str) -> set[str]:
    """Return the unsafe methods that an address takes."""
    posts = {"post"} if TABLE[name][0] == "post" or name in FORMS else set()
    return posts | ALSO.get(name, set())


def answered(client: Client, method: str, name: str, scene: dict[str, Any]) -> int:  # noqa: F811
    address = reverse(name, kwargs=arguments_of(name, scene))
    with transaction.atomic():
        answer = getattr(client, method)(address)
        answer.close()
        transaction.set_rollback(True)
    return answer.status_code


@pytest.mark.parametrize("name", sorted(TABLE))
def test_a_method_that_an_address_does_not_take_is_refused_as_such(
    name: str,
    owner: Client,
    scene: dict[str, Any],  # noqa: F811
) -> None:
    refused = {method: answered(owner, method, name, scene) for method in UNSAFE if method not in taken_by(name)}
    assert {method: status for method, status in refused.items() if status != 405} == {}


def test_every_form_that_is_sent_carries_its_token() -> None:
    """The other side of it: a form without one would be refused to the person it is for."""
    templates = [path for app in ("units", "tests_app") for path in sorted(Path(app, "templates").rglob("*.html"))]
    forms = [
        (path.name, form)
        for path in templates
        for form in re.findall(
            r"<form\b[^>]*method=.?post.*?</form>", path.read_text("utf-8"), re.DOTALL | re.IGNORECASE
        )
    ]
    assert len(forms) > 50
    assert [name for name, form in forms if "{% csrf_token %}" not in form] == []


@pytest.mark.parametrize("name", sorted(name for name in TABLE if taken_by(name)))
def test_nothing_is_taken_from_a_page_of_another_site(name: str, owner: Client, scene: dict[str, Any]) -> None:  # noqa: F811
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(owner.person)
    methods = taken_by(name)
    assert {method: answered(strict, method, name, scene) for method in methods} == dict.fromkeys(methods, 403)
