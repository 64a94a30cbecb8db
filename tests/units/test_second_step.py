"""A second step at sign-in: codes of an app, recovery codes, and how often they may be tried."""

from __future__ import annotations

import base64
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from tests import builders
from units.actions import second_step, sign_in
from units.models import Bench, Person, SecondStep

pytestmark = pytest.mark.django_db

PASSWORD = "a long and quiet evening"


@pytest.fixture(autouse=True)
def in_the_middle_of_a_step(time_machine: Any) -> None:
    """Stop the clock half-way between two codes: on a slow machine the next one may begin at any moment."""
    began = datetime.now(UTC).timestamp() // 30 * 30
    time_machine.move_to(began + 15, tick=False)


@pytest.fixture
def person(bench: Bench) -> Person:
    return builders.a_person(bench=bench, role="tester", username="tomas", password=PASSWORD)


def code_of(person: Person, *, steps_away: int = 0) -> str:
    moment = datetime.now(UTC) + timedelta(seconds=30 * steps_away)
    return pyotp.TOTP(second_step.key_of(SecondStep.objects.get(person=person))).at(moment)


@pytest.fixture
def recovery(person: Person) -> list[str]:
    """Turn the second step on, by the code of the step before, so that tests have the present one left."""
    second_step.begin(by=person)
    return second_step.confirm(by=person, code=code_of(person, steps_away=-1))


def gave_password(client: Client, **more: str) -> str:
    answer = client.post(reverse("sign-in"), {"username": "tomas", "password": PASSWORD} | more)
    assert answer.status_code == 302
    return answer.url


def gave_code(client: Client, code: str, address: str = "192.0.2.7") -> int:
    return client.post(reverse("sign-in-code"), {"code": code}, REMOTE_ADDR=address).status_code


def is_in(client: Client) -> bool:
    return client.get(reverse("bench-home")).status_code == 200


@pytest.mark.parametrize(
    ("at_s", "code"),
    [
        (59, "287082"),
        (1111111109, "081804"),
        (1111111111, "050471"),
        (1234567890, "005924"),
        (2000000000, "279037"),
        (20000000000, "353130"),
    ],
)
def test_codes_are_those_of_the_standard(at_s: int, code: str, person: Person, monkeypatch) -> None:
    """RFC 6238, appendix B, SHA-1, the last six of its eight digits; values from memory."""
    key = base64.b32encode(b"12345678901234567890").decode()
    monkeypatch.setattr(second_step, "key_of", lambda step: key)
    SecondStep.objects.create(person=person, salt="x", confirmed_at=datetime.now(UTC))
    assert second_step.passes(person=person, code=code, now=datetime.fromtimestamp(at_s, UTC))


def test_a_password_alone_signs_nobody_in_where_the_second_step_is_on(recovery: list[str], visitor: Client) -> None:
    assert gave_password(visitor) == reverse("sign-in-code")
    assert not is_in(visitor)
    assert visitor.get("/api/sessions/").status_code == 401


def test_the_code_signs_in_and_leads_to_where_the_person_was_going(
    recovery: list[str], person: Person, visitor: Client
) -> None:
    gave_password(visitor, next="/units/")
    answer = visitor.post(reverse("sign-in-code"), {"code": code_of(person)})
    assert (answer.status_code, answer.url) == (302, "/units/")
    assert is_in(visitor)


def test_nobody_is_led_to_another_site(recovery: list[str], person: Person, visitor: Client) -> None:
    gave_password(visitor, next="https://evil.example/")
    assert visitor.post(reverse("sign-in-code"), {"code": code_of(person)}).url == reverse("bench-home")


def test_a_code_is_taken_once(recovery: list[str], person: Person, visitor: Client) -> None:
    code = code_of(person)
    gave_password(visitor)
    assert gave_code(visitor, code) == 302
    visitor.post(reverse("sign-out"))
    gave_password(visitor)
    assert gave_code(visitor, code) == 200
    assert not is_in(visitor)


@pytest.mark.parametrize("steps_away", [-3, 2, 20])
def test_a_code_of_another_time_is_refused(
    steps_away: int, recovery: list[str], person: Person, visitor: Client
) -> None:
    gave_password(visitor)
    assert gave_code(visitor, code_of(person, steps_away=steps_away)) == 200
    assert not is_in(visitor)


def test_a_recovery_code_signs_in_once_however_it_is_typed(recovery: list[str], visitor: Client) -> None:
    gave_password(visitor)
    assert gave_code(visitor, recovery[0].upper().replace("-", " ")) == 302
    visitor.post(reverse("sign-out"))
    gave_password(visitor)
    assert gave_code(visitor, recovery[0]) == 200
    assert gave_code(visitor, recovery[1]) == 302


def test_after_some_wrong_codes_even_the_right_one_has_to_wait(
    recovery: list[str], person: Person, visitor: Client
) -> None:
    gave_password(visitor)
    for number in range(sign_in.MOST_OF_NAME_AND_ADDRESS):
        assert gave_code(visitor, f"x{number}") == 200
    answer = visitor.post(reverse("sign-in-code"), {"code": code_of(person)}, REMOTE_ADDR="192.0.2.7")
    assert answer.status_code == 429
    assert int(answer.headers["Retry-After"]) > 0
    assert not is_in(visitor)


def test_giving_the_password_again_does_not_begin_the_count_anew(
    recovery: list[str], person: Person, visitor: Client
) -> None:
    for number in range(sign_in.MOST_CODES):
        gave_password(visitor)
        assert gave_code(visitor, f"x{number}", address=f"198.51.100.{number}") == 200
    assert gave_code(visitor, code_of(person), address="203.0.113.9") == 429


def test_the_code_must_come_soon_after_the_password(
    recovery: list[str], person: Person, visitor: Client, time_machine
) -> None:
    gave_password(visitor)
    time_machine.move_to(datetime.now(UTC) + timedelta(minutes=11))
    assert visitor.post(reverse("sign-in-code"), {"code": code_of(person)}).url == reverse("sign-in")
    assert not is_in(visitor)


def test_an_account_closed_meanwhile_is_not_signed_in(recovery: list[str], person: Person, visitor: Client) -> None:
    gave_password(visitor)
    Person.objects.update(is_active=False)
    assert visitor.post(reverse("sign-in-code"), {"code": recovery[0]}).url == reverse("sign-in")


def test_a_person_turns_it_on_by_a_first_code_and_off_by_password_and_code(person: Person, visitor: Client) -> None:
    gave_password(visitor)
    page = visitor.post(reverse("second-step-begin")).content.decode()
    key = second_step.key_of(SecondStep.objects.get())
    assert key in page
    assert 'src="data:image/svg+xml' in page
    wrong = visitor.post(reverse("second-step-confirm"), {"code": "000000x"})
    assert wrong.status_code == 422
    assert second_step.of(person) is None
    page = visitor.post(reverse("second-step-confirm"), {"code": code_of(person, steps_away=-1)}).content.decode()
    shown = re.findall(r"[a-z2-7]{4}(?:-[a-z2-7]{4}){3}", page)
    assert len(shown) == second_step.RECOVERY_CODES
    assert shown[0] not in visitor.get(reverse("second-step")).content.decode()
    refused = visitor.post(reverse("second-step-off"), {"password": "wrong", "code": code_of(person)})
    assert refused.status_code == 422
    assert second_step.of(person)
    visitor.post(reverse("second-step-off"), {"password": PASSWORD, "code": code_of(person)})
    assert second_step.of(person) is None


def test_new_recovery_codes_end_the_old(recovery: list[str], person: Person) -> None:
    new = second_step.renew_codes(by=person, code=recovery[0])
    assert not second_step.passes(person=person, code=recovery[1])
    assert second_step.passes(person=person, code=new[0])


def test_it_is_not_begun_over_one_that_is_on(recovery: list[str], person: Person, visitor: Client) -> None:
    visitor.force_login(person)
    salt = SecondStep.objects.get().salt
    assert visitor.post(reverse("second-step-begin")).status_code == 302
    assert SecondStep.objects.get().salt == salt


def test_neither_key_nor_codes_stand_in_the_database(recovery: list[str], person: Person) -> None:
    row = SecondStep.objects.values().get()
    kept = str(row)
    assert second_step.key_of(SecondStep.objects.get()) not in kept
    assert all(code not in kept and code.replace("-", "") not in kept for code in recovery)


def test_who_runs_the_site_takes_it_off_an_account(
    recovery: list[str], person: Person, visitor: Client, capsys
) -> None:
    call_command("second_step_off", "tomas")
    assert "tomas: the second step is off." in capsys.readouterr().out
    assert gave_password(visitor) == reverse("bench-home")
    with pytest.raises(CommandError, match="Nobody here"):
        call_command("second_step_off", "nobody")
