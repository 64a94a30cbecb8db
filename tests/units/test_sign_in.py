"""Guessing a password gets slow, for the guesser and nobody else."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from tests import builders
from units.actions import sign_in
from units.forms.sign_in import address_of
from units.models import Bench, SignInFailure

pytestmark = pytest.mark.django_db

PASSWORD = "a long and quiet evening"
ADDRESS = "192.0.2.7"  # RFC 5737: for documentation


@pytest.fixture
def person(bench: Bench) -> str:
    person = builders.a_person(bench=bench, role="tester", username="tomas")
    person.set_password(PASSWORD)
    person.save()
    return person.username


def tried(client: Client, password: str, *, username: str = "tomas", address: str = ADDRESS) -> int:
    facts = {"username": username, "password": password}
    return client.post(reverse("sign-in"), facts, REMOTE_ADDR=address).status_code


def guessed_wrong(client: Client, **who: str) -> None:
    for i in range(sign_in.MOST_OF_NAME_AND_ADDRESS):
        assert tried(client, f"guess {i}", **who) == 200


def test_after_some_wrong_guesses_even_the_right_password_has_to_wait(person: str, visitor: Client) -> None:
    guessed_wrong(visitor)
    answer = visitor.post(reverse("sign-in"), {"username": person, "password": PASSWORD}, REMOTE_ADDR=ADDRESS)
    assert answer.status_code == 429
    assert 0 < int(answer.headers["Retry-After"]) <= 15 * 60
    assert "Too many sign-ins failed. Try again in 15 minutes." in answer.content.decode()
    assert not answer.wsgi_request.user.is_authenticated


def test_another_spelling_of_the_name_is_the_same_name(person: str, visitor: Client) -> None:
    guessed_wrong(visitor, username=" TOMAS")
    assert tried(visitor, PASSWORD) == 429


def test_the_person_signs_in_from_elsewhere_while_someone_guesses(person: str, visitor: Client) -> None:
    guessed_wrong(visitor)
    assert tried(visitor, PASSWORD, address="198.51.100.9") == 302


def test_after_a_quarter_of_an_hour_it_may_be_tried_again(person: str, visitor: Client) -> None:
    guessed_wrong(visitor)
    SignInFailure.objects.update(failed_at=datetime.now(UTC) - sign_in.COUNTED_FOR - timedelta(seconds=1))
    assert tried(visitor, PASSWORD) == 302


def test_who_signs_in_begins_anew(person: str, visitor: Client) -> None:
    tried(visitor, "mistyped")
    assert tried(visitor, PASSWORD) == 302
    assert not SignInFailure.objects.exists()


def test_one_address_that_tries_many_names_has_to_wait(person: str, visitor: Client) -> None:
    for i in range(sign_in.MOST_OF_ADDRESS):
        sign_in.failed(name=f"name {i}", address=ADDRESS)
    assert tried(visitor, PASSWORD) == 429


def test_one_name_tried_from_many_addresses_has_to_wait(person: str, visitor: Client) -> None:
    for i in range(sign_in.MOST_OF_NAME):
        sign_in.failed(name=person, address=f"2001:db8::{i:x}")
    assert tried(visitor, PASSWORD, address="198.51.100.9") == 429


def test_failures_name_nobody_and_are_forgotten(person: str, visitor: Client) -> None:
    long_ago = datetime.now(UTC) - timedelta(hours=1)
    sign_in.failed(name=person, address=ADDRESS, now=long_ago)
    tried(visitor, "wrong")
    row = SignInFailure.objects.get()
    assert person not in row.name_digest
    assert ADDRESS not in row.address_digest


@pytest.mark.parametrize(
    ("proxies", "header", "expected"),
    [
        (0, "203.0.113.5", ADDRESS),  # no proxy of ours: the header is anybody's word
        (1, "203.0.113.5", "203.0.113.5"),
        (1, "10.0.0.1, 203.0.113.5", "203.0.113.5"),  # the client wrote the first one itself
        (2, "10.0.0.1, 203.0.113.5, 10.9.9.9", "203.0.113.5"),
        (1, "", ADDRESS),
    ],
)
def test_only_our_own_proxies_are_believed(proxies: int, header: str, expected: str, settings) -> None:
    settings.PROXIES = proxies
    headers = {"X-Forwarded-For": header} if header else {}
    assert address_of(RequestFactory().get("/", REMOTE_ADDR=ADDRESS, headers=headers)) == expected


@pytest.mark.parametrize("weak", ["short", "1234567890123", "password1234", "fenwick123"])
def test_a_weak_password_is_refused(weak: str, tester: Client) -> None:
    owner = tester.person
    owner.email = "tomas.fenwick@bench.example"
    owner.set_password(PASSWORD)
    owner.save()
    tester.force_login(owner)
    facts = {"old_password": PASSWORD, "new_password1": weak, "new_password2": weak}
    assert tester.post(reverse("password-change"), facts).status_code == 200
    owner.refresh_from_db()
    assert owner.check_password(PASSWORD)
