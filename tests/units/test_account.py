"""Signing in, the reader's units of measure, benches and their people."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests import builders
from units.models import Bench, Membership

pytestmark = pytest.mark.django_db


def test_signing_in_with_name_and_password_leads_to_the_bench(visitor, bench):
    builders.a_person(bench=bench, username="ida", password="three hollow reeds")
    answer = visitor.post(reverse("sign-in"), {"username": "ida", "password": "three hollow reeds"}, follow=True)
    assert answer.redirect_chain == [(reverse("bench-home"), 302)]
    assert "Larkmoor Bench" in answer.text


def test_a_wrong_password_is_said_and_nobody_is_signed_in(visitor, bench):
    builders.a_person(bench=bench, username="ida", password="three hollow reeds")
    answer = visitor.post(reverse("sign-in"), {"username": "ida", "password": "guess"})
    assert "Please enter a correct username and password" in answer.text
    assert "_auth_user_id" not in visitor.session


def test_a_visitor_who_chooses_fahrenheit_keeps_it_and_stays_on_the_page(visitor, db):
    answer = visitor.post(reverse("display"), {"temperature": "F", "next": "/method/"})
    assert answer.url == "/method/"
    answer = visitor.post(reverse("display"), {"power": "Btu/h", "next": "https://elsewhere.example/"})
    assert answer.url == reverse("catalogue")
    assert "7,900\u00a0±\u00a0400\u00a0Btu/h" in visitor.get("/method/").text  # 2310 ± 120 W by 3.412142


def test_a_choice_that_is_no_word_of_ours_changes_nothing(visitor, db):
    visitor.post(reverse("display"), {"temperature": "K", "theme": "<script>"})
    page = visitor.get("/method/").text
    assert 'data-theme="auto"' in page
    assert "<script>" not in page.replace("<script ", "")


def test_a_choice_is_kept_with_the_account(reader):
    reader.post(reverse("display"), {"temperature": "F"})
    reader.person.refresh_from_db()
    assert (reader.person.temperature_unit, reader.person.power_unit) == ("F", "W")


def test_an_owner_admits_a_person_by_user_name(owner, bench):
    newcomer = builders.a_person(username="nils")
    owner.post(reverse("people"), {"username": "nils", "role": "tester"})
    assert Membership.objects.get(bench=bench, person=newcomer).role == "tester"


def test_a_name_nobody_has_is_said(owner):
    answer = owner.post(reverse("people"), {"username": "nobody", "role": "tester"})
    assert answer.status_code == 422
    assert "Nobody here has the user name “nobody”" in answer.text


def test_the_last_owner_cannot_leave_or_step_down(owner, bench):
    membership = bench.memberships.get(person=owner.person)
    answer = owner.post(reverse("person-dismiss", args=[membership.pk]), follow=True)
    assert "keeps at least one owner" in answer.text
    owner.post(reverse("people"), {"username": "odile", "role": "reader"})
    membership.refresh_from_db()
    assert membership.role == "owner"


@pytest.mark.parametrize("role", ["reader", "tester"])
def test_only_an_owner_manages_people(request, bench, role):
    client = request.getfixturevalue(role)
    builders.a_person(username="nils")
    assert client.post(reverse("people"), {"username": "nils", "role": "owner"}).status_code == 403
    assert not bench.memberships.filter(person__username="nils").exists()


def test_a_person_without_a_bench_opens_one_and_owns_it(client, db):
    person = builders.a_person(username="nils")
    client.force_login(person)
    assert "You belong to no bench yet" in client.get(reverse("bench-home")).text
    client.post(reverse("bench-open"), {"name": "Fenside"})
    assert Bench.objects.get(name="Fenside").memberships.get().role == "owner"


def test_two_benches_of_one_name_have_addresses_of_their_own(reader):
    for _ in range(2):
        reader.post(reverse("bench-open"), {"name": "Fenside"})
    assert set(Bench.objects.filter(name="Fenside").values_list("slug", flat=True)) == {"fenside", "fenside-2"}


def test_the_bench_of_work_is_chosen_among_ones_own(reader, bench):
    other = builders.a_bench(name="Moss End")
    Membership.objects.create(bench=other, person=reader.person, role="reader")
    reader.post(reverse("bench-choose", args=[other.pk]))
    assert "<h1>Moss End</h1>" in reader.get(reverse("bench-home")).text
    assert reader.post(reverse("bench-choose", args=[builders.a_bench().pk])).status_code == 404


def test_the_bench_says_what_is_due_and_what_needs_an_answer(tester, bench):
    builders.a_room(bench=bench, characterised=False, name="Loft")
    builders.a_session(bench=bench, name="Hot day")
    page = tester.get(reverse("bench-home")).text
    assert "never characterised" in page
    assert "Hot day" in page


def test_nothing_at_an_address_is_said_in_a_page_and_to_a_program_in_json(visitor, db):
    assert "Nothing is at this address" in visitor.get("/nowhere/").text
    answer = visitor.get("/nowhere/", headers={"accept": "application/json"})
    assert answer.json()["errors"][0]["code"] == "Not Found"
