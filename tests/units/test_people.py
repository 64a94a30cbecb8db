"""How people come to a bench and how it changes hands: links that work once, offers that are confirmed, a history."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests import builders
from units.actions import handovers, invitations, people
from units.models import BenchChange, Handover, Invitation, Membership, Person

pytestmark = pytest.mark.django_db

PASSWORD = "nine quiet herons"


def invited(owner: Client, **changes: str) -> str:
    """Invite through the page and return the path of the link it shows."""
    asked = {"label": "Nils", "offered_role": "tester", "days": "7"} | changes
    page = owner.post(reverse("invite"), asked)
    assert page.status_code == 200
    return page.context["made"]["address"].removeprefix("http://testserver")


def role_of(bench, username: str) -> str | None:
    return bench.memberships.filter(person__username=username).values_list("role", flat=True).first()


def registering(**changes: str) -> dict[str, str]:
    return {"username": "nils", "password1": PASSWORD, "password2": PASSWORD} | changes


def test_who_has_no_account_makes_one_by_the_link_and_is_on_the_bench(owner, bench):
    link = invited(owner)
    nils = Client()
    assert "odile invites you to this bench as tester" in nils.get(link).text
    page = nils.post(link, registering(), follow=True)
    assert page.redirect_chain == [(reverse("bench-home"), 302)]
    assert "Welcome to Larkmoor Bench: you are tester." in page.text
    assert role_of(bench, "nils") == "tester"
    assert Client().login(username="nils", password=PASSWORD)


def test_who_has_an_account_signs_in_and_joins(owner, stranger, bench):
    link = invited(owner, offered_role="reader")
    assert f"next={link}" in Client().get(link).text
    stranger.post(link)
    assert role_of(bench, "stig") == "reader"
    assert stranger.get(reverse("bench-home")).context["bench"] == bench, "and works there"


def test_a_link_works_once(owner, stranger, bench):
    link = invited(owner)
    Client().post(link, registering())
    assert stranger.post(link).status_code == 404
    assert Client().get(link).status_code == 404
    assert role_of(bench, "stig") is None


def test_the_secret_is_shown_once_and_kept_as_its_digest_only(owner):
    link = invited(owner)
    secret = link.split("/")[2]
    kept = Invitation.objects.get()
    assert kept.secret_sha256 == invitations.hashed(secret)
    assert secret not in owner.get(reverse("people")).text
    answer = owner.post(reverse("invite"), {"label": "Ida", "offered_role": "reader", "days": "1"})
    assert answer["Cache-Control"] == "private, no-store"
    opened = Client().get(link)
    assert opened["X-Robots-Tag"].startswith("noindex")
    assert opened["Cache-Control"] == "private, no-store"


@pytest.mark.parametrize("how", ["expired", "revoked", "inviter left", "bench going"])
def test_a_link_dies(how, owner, bench):
    link = invited(owner)
    invitation = Invitation.objects.get()
    if how == "expired":
        Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    elif how == "revoked":
        assert owner.post(reverse("invitation-revoke", args=[invitation.pk])).status_code == 302
    elif how == "inviter left":
        builders.a_person(bench=bench, role="owner", username="olga")
        people.dismiss(membership=bench.memberships.get(person=owner.person), by=owner.person)
    else:
        bench.delete_after = timezone.now() + timedelta(days=30)
        bench.save()
    assert Client().get(link).status_code == 404
    assert Client().post(link, registering()).status_code == 404
    assert not Person.objects.filter(username="nils").exists(), "and leaves no account"


def test_a_guessed_secret_is_no_invitation(visitor, owner):
    invited(owner)
    assert visitor.get(reverse("invitation", args=["guessed"])).status_code == 404


def test_a_link_never_weakens_a_role_and_is_not_used_up_by_it(owner, bench):
    link = invited(owner, offered_role="reader")
    page = owner.post(link, follow=True)
    assert "You are owner of Larkmoor Bench already." in page.text
    assert role_of(bench, "odile") == "owner"
    assert Client().get(link).status_code == 200


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"username": "odile"}, "A user with that username already exists"),
        ({"password2": "another thing"}, "didn’t match"),
        ({"password1": "short", "password2": "short"}, "too short"),
        ({"password1": "nilsnilsnils", "password2": "nilsnilsnils", "username": "nilsnilsnils"}, "too similar"),
    ],
)
def test_an_account_is_refused_in_words(owner, bench, changes, sentence):
    link = invited(owner)
    page = Client().post(link, registering(**changes))
    assert page.status_code == 422
    assert sentence in page.text
    assert bench.memberships.count() == 1


@pytest.mark.parametrize("changes", [{"days": "0"}, {"days": "31"}, {"offered_role": "king"}, {"label": ""}])
def test_an_invitation_that_cannot_be_is_said_at_its_field(owner, changes):
    asked = {"label": "Nils", "offered_role": "tester", "days": "7"} | changes
    page = owner.post(reverse("invite"), asked)
    assert page.status_code == 422
    assert page.context["invite"].errors
    assert not Invitation.objects.exists()


def test_two_links_of_two_people_do_not_meet(owner, bench):
    first, second = invited(owner, label="Nils"), invited(owner, label="Ida", offered_role="reader")
    Client().post(second, registering(username="ida"))
    Client().post(first, registering(username="nils"))
    assert (role_of(bench, "nils"), role_of(bench, "ida")) == ("tester", "reader")


# --- handing the bench over ---------------------------------------------------------------------------------------


def offered(owner: Client, to: str, stays_as: str = "tester") -> Handover:
    assert owner.post(reverse("hand-over"), {"username": to, "stays_as": stays_as or "leave"}).status_code == 302
    return Handover.objects.get(outcome="")


def answered(client: Client, handover: Handover, take: str) -> int:
    return client.post(reverse("offer-answer", args=[handover.pk]), {"take": take}).status_code


@pytest.mark.parametrize(("stays_as", "then"), [("tester", "tester"), ("reader", "reader"), ("", None)])
def test_a_bench_changes_hands_when_the_receiver_takes_it(owner, stranger, bench, stays_as, then):
    handover = offered(owner, "stig", stays_as)
    assert role_of(bench, "odile") == "owner", "nothing changes before that"
    assert role_of(bench, "stig") is None
    assert "odile offers you Larkmoor Bench." in stranger.get(reverse("bench-home")).text
    answered(stranger, handover, "yes")
    assert (role_of(bench, "stig"), role_of(bench, "odile")) == ("owner", then)
    assert owner.post(reverse("invite")).status_code in {302, 403}, "the giver manages people no longer"


def test_a_declined_bench_stays(owner, tester, bench):
    handover = offered(owner, "tomas")
    answered(tester, handover, "no")
    assert (role_of(bench, "odile"), role_of(bench, "tomas")) == ("owner", "tester")
    assert answered(tester, handover, "yes") == 404
    assert Handover.objects.get().outcome == "declined"


def test_nobody_but_the_receiver_answers(owner, tester, reader, bench):
    handover = offered(owner, "tomas")
    assert answered(reader, handover, "yes") == 404
    assert answered(owner, handover, "yes") == 404
    assert role_of(bench, "odile") == "owner"


def test_an_offer_is_withdrawn_lapses_and_makes_room_for_another(owner, tester, reader, bench):
    first = offered(owner, "tomas")
    page = owner.post(reverse("hand-over"), {"username": "rhea", "stays_as": "reader"})
    assert page.status_code == 422
    assert "offered to somebody already" in page.text
    owner.post(reverse("offer-withdraw", args=[first.pk]))
    assert answered(tester, first, "yes") == 404
    second = offered(owner, "rhea")
    Handover.objects.filter(pk=second.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert answered(reader, second, "yes") == 404
    third = offered(owner, "tomas")
    assert answered(tester, third, "yes") == 302


def test_an_offer_dies_with_the_ownership_of_who_made_it(owner, tester, bench):
    handover = offered(owner, "tomas")
    olga = builders.a_person(bench=bench, role="owner", username="olga")
    people.admit(bench=bench, username="odile", role="reader", by=olga)
    with pytest.raises(ValidationError, match="odile no longer owns Larkmoor Bench"):
        handovers.take(handover=handover, by=tester.person)
    assert role_of(bench, "tomas") == "tester"


@pytest.mark.parametrize(("to", "sentence"), [("odile", "You own the bench already"), ("nobody", "Nobody here has")])
def test_a_bench_goes_to_another_person_of_the_site_only(owner, to, sentence):
    page = owner.post(reverse("hand-over"), {"username": to, "stays_as": "leave"})
    assert page.status_code == 422
    assert sentence in page.text


def test_what_happened_to_the_people_is_kept_with_time_and_author(owner, stranger, bench):
    link = invited(owner)
    Client().post(link, registering())
    owner.post(reverse("people"), {"username": "nils", "role": "reader"})
    answered(stranger, offered(owner, "stig", ""), "yes")
    stranger.post(reverse("person-dismiss", args=[Membership.objects.get(bench=bench, person__username="nils").pk]))
    said = list(BenchChange.objects.filter(bench=bench).order_by("id").values_list("what", "changed_by__username"))
    assert said == [
        ("Invited Nils as tester", "odile"),
        ("nils joined as tester, invited as “Nils” by odile", "nils"),
        ("Made nils reader", "odile"),
        ("Offered the bench to stig", "odile"),
        ("stig took the bench over from odile, who left", "stig"),
        ("Took nils off the bench", "stig"),
    ]
    page = stranger.get(reverse("people")).text
    assert "stig took the bench over from odile, who left" in page


@pytest.mark.parametrize("role", ["reader", "tester"])
def test_links_and_offers_are_listed_for_owners_only(request, owner, bench, role):
    invited(owner, label="A secret guest")
    offered(owner, builders.a_person(username="nils").username)
    client = request.getfixturevalue(role)
    page = client.get(reverse("people"))
    assert page.context["offer"] is None
    assert list(page.context["invitations"]) == []
    assert "Hand the bench over" not in page.text
