"""A bench that asks a second step of all its people: who is led where, what stays open, what is remembered."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from tests import builders
from tests.test_every_url import TABLE, arguments_of, scene  # noqa: F401 - the scene is a fixture
from units import access
from units.actions import second_step, tokens
from units.models import Bench, BenchChange, Membership, Person, SecondStep, SecondStepRule, Unit

pytestmark = pytest.mark.django_db

# Addresses of the person, not of a bench; and units, which are asked for like any that is not published.
OWN = {
    "bench-home": 200, "bench-open": 422, "second-step": 200, "second-step-begin": 200, "second-step-confirm": 422,
    "second-step-codes": 422, "second-step-off": 422, "password-change": 200, "offer-answer": 404, "unit": 404,
    "chart": 404, "api-plan": 415, "sign-in": 302, "sign-out": 302, "display": 302, "sign-in-code": 302,
    "arrival-new": 200, "arrival-drop": 404,
}  # fmt: skip
LISTS = {"api-units", "api-sessions", "api-reductions", "api-points"}


def with_second_step(person: Person) -> Person:
    SecondStep.objects.create(person=person, salt="a", confirmed_at=datetime.now(UTC))
    return person


def asked_of(bench: Bench, *, in_days: int = 0) -> SecondStepRule:
    return SecondStepRule.objects.create(bench=bench, begins_at=datetime.now(UTC) + timedelta(days=in_days))


def keeps_closed(name: str, answer: HttpResponse) -> bool:
    """Say whether an address answered as one of a closed bench should: by leading on, or by nothing at all."""
    _, visitor, *_ = TABLE[name]
    if name in OWN or visitor not in (302, 401):
        return answer.status_code == OWN.get(name, visitor)
    if name in LISTS:
        return answer.json()["results"] == []
    if name.startswith("api-"):
        return answer.status_code == 403 and "second step" in answer.content.decode()
    return answer.status_code == 302 and answer.url in (reverse("second-step"), reverse("bench-home"))


@pytest.mark.parametrize("role", ["reader", "tester", "owner"])
def test_no_address_of_the_bench_opens_to_who_has_none(
    role: str,
    scene: dict[str, Any],  # noqa: F811
    bench: Bench,
    request: pytest.FixtureRequest,
) -> None:
    client: Client = request.getfixturevalue(role)
    asked_of(bench)
    opened = []
    for name, (method, *_) in TABLE.items():
        address = reverse(name, kwargs=arguments_of(name, scene))
        with transaction.atomic():
            answer = getattr(client, method)(address + (f"?unit={scene['unit_id']}" if name == "chart" else ""))
            if not keeps_closed(name, answer):
                opened.append((name, answer.status_code))
            b"".join(answer)  # to its end: closing it by hand would close the test's connection too
            transaction.set_rollback(True)
        client.force_login(client.person)  # one of the addresses signs out
    assert opened == []


def test_a_thing_of_the_bench_leads_to_the_second_step_and_says_why(tester: Client, bench: Bench) -> None:
    asked_of(bench)
    room = builders.a_room(bench=bench)
    page = tester.get(reverse("room", args=[room.pk]), follow=True)
    assert page.redirect_chain == [(reverse("second-step"), 302)]
    assert "This bench opens only to who has a second step at sign-in." in page.text
    assert "Larkmoor Bench</strong> opens only to people who have a second step" in page.text


def test_where_one_signs_in_one_is_led_to_set_it_up(tester: Client, bench: Bench) -> None:
    asked_of(bench)
    page = tester.get(reverse("bench-home"))
    assert "Larkmoor Bench asks for a second step at sign-in." in page.text
    assert f'href="{reverse("second-step")}">Set up the second step' in page.text
    assert page.context["bench"] is None


def test_a_stranger_is_told_nothing_of_it(stranger: Client, bench: Bench) -> None:
    asked_of(bench)
    room = builders.a_room(bench=bench)
    assert stranger.get(reverse("room", args=[room.pk])).status_code == 404
    assert "Larkmoor" not in stranger.get(reverse("second-step")).text


def test_it_opens_as_soon_as_it_is_set_up(tester: Client, bench: Bench) -> None:
    asked_of(bench)
    assert tester.get(reverse("rooms")).status_code == 302
    tester.post(reverse("second-step-begin"))
    tester.post(reverse("second-step-confirm"), {"code": code_of(tester.person)})
    assert tester.get(reverse("rooms")).status_code == 200
    assert "while it is on, it opens to you" in tester.get(reverse("second-step")).text


def code_of(person: Person) -> str:
    return pyotp.TOTP(second_step.key_of(SecondStep.objects.get(person=person))).now()


def test_one_that_is_begun_and_not_confirmed_opens_nothing(tester: Client, bench: Bench) -> None:
    asked_of(bench)
    tester.post(reverse("second-step-begin"))
    assert tester.get(reverse("rooms")).status_code == 302


def test_setting_it_up_signs_out_every_other_browser(tester: Client, bench: Bench) -> None:
    """Who stole the password and signed in before would otherwise come along."""
    elsewhere = Client()
    elsewhere.force_login(tester.person)
    tester.post(reverse("second-step-begin"))
    tester.post(reverse("second-step-confirm"), {"code": code_of(tester.person)})
    assert elsewhere.get(reverse("rooms")).url.startswith(reverse("sign-in"))
    assert tester.get(reverse("rooms")).status_code == 200


def test_turning_it_off_closes_the_bench_again(tester: Client, bench: Bench) -> None:
    asked_of(bench)
    with_second_step(tester.person)
    assert tester.get(reverse("rooms")).status_code == 200
    second_step.turn_off(person=tester.person, by=tester.person)
    assert tester.get(reverse("rooms")).status_code == 302


def test_another_bench_of_the_person_stays_open(tester: Client, bench: Bench) -> None:
    asked_of(bench)
    other = builders.a_bench(name="Hollin Bench")
    Membership.objects.create(bench=other, person=tester.person, role="tester")
    assert tester.get(reverse("rooms")).context["bench"] == other
    assert tester.post(reverse("bench-choose", args=[bench.pk])).url == reverse("second-step")


def test_until_the_day_comes_all_goes_on_and_each_page_says_so(tester: Client, bench: Bench) -> None:
    rule = asked_of(bench, in_days=14)
    said = f"From {rule.begins_at:%-d %B %Y, %H:%M} UTC on, Larkmoor Bench opens only to people"
    assert said in tester.get(reverse("rooms")).text
    assert "Until then you can go on without" in tester.get(reverse("second-step")).text
    with_second_step(tester.person)
    assert said not in tester.get(reverse("rooms")).text


def test_a_program_with_a_token_works_on_and_its_persons_browser_does_not(owner: Client, bench: Bench) -> None:
    unit = builders.a_unit(bench=bench)
    _, secret = tokens.make(bench=bench, label="logger", token_role="tester", days=7, by=owner.person)
    asked_of(bench)
    bearer = {"Authorization": f"Bearer {secret}"}
    assert Client().get("/api/units/", headers=bearer).json()["results"][0]["id"] == str(unit.pk)
    assert Client().get(f"/api/units/{unit.pk}/", headers=bearer).status_code == 200
    assert owner.get(f"/api/units/{unit.pk}/").status_code == 403


def test_an_owner_asks_for_it_and_the_history_says_so(owner: Client, bench: Bench) -> None:
    with_second_step(owner.person)
    page = owner.post(reverse("second-step-require"), {"begins": "14"}, follow=True)
    rule = SecondStepRule.objects.get(bench=bench)
    assert timedelta(days=13.9) < rule.begins_at - datetime.now(UTC) < timedelta(days=14)
    assert f"From {rule.begins_at:%-d %B %Y, %H:%M} UTC on, this bench opens only to people who have one" in page.text
    said = f"Asked everybody here for a second step at sign-in, from {rule.begins_at:%-d %B %Y}"
    assert BenchChange.objects.get(bench=bench).what == said
    assert said in page.text
    owner.post(reverse("second-step-require"), {"begins": "0"})
    assert SecondStepRule.objects.get(bench=bench).begins_at <= datetime.now(UTC)
    owner.post(reverse("second-step-require"), {"begins": "never"})
    assert not SecondStepRule.objects.exists()
    assert BenchChange.objects.first().what == "Asks nobody for a second step at sign-in any more"


def test_an_owner_sees_who_has_none_yet(owner: Client, tester: Client, bench: Bench) -> None:
    with_second_step(owner.person)
    asked_of(bench)
    assert owner.get(reverse("people")).text.count("not set up") == 1
    with_second_step(tester.person)
    assert "not set up" not in owner.get(reverse("people")).text
    assert "Second step</th>" not in tester.get(reverse("people")).text


def test_an_owner_without_one_asks_nobody_for_it(owner: Client, bench: Bench) -> None:
    answer = owner.post(reverse("second-step-require"), {"begins": "0"})
    assert answer.status_code == 422
    assert "Set up your own second step first, or you would shut yourself out." in answer.text
    assert not SecondStepRule.objects.exists()
    assert not BenchChange.objects.exists()


@pytest.mark.parametrize("days", [-1, 91])
def test_the_grace_is_a_while_and_not_for_ever(days: int, owner: Client, bench: Bench) -> None:
    with_second_step(owner.person)
    with pytest.raises(ValidationError, match="0 to 90 days"):
        second_step.require(bench=bench, days=days, by=owner.person)


def test_what_nobody_offered_is_refused(owner: Client, bench: Bench) -> None:
    with_second_step(owner.person)
    assert owner.post(reverse("second-step-require"), {"begins": "9999"}).status_code == 422
    assert not SecondStepRule.objects.exists()


def test_a_unit_that_is_published_stays_open_to_all(tester: Client, bench: Bench) -> None:
    unit = builders.a_published_point(unit=builders.a_unit(bench=bench)).unit
    asked_of(bench)
    assert tester.get(reverse("unit", args=[unit.pk])).status_code == 200
    assert not access.visible(Unit, tester.person).filter(pk=unit.pk).exists()
