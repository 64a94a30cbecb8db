"""People of a bench and what they chose."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from units.models import Bench, BenchChange, Membership, Person, Role


@transaction.atomic
def remember_display(*, by: Person, temperature: str, power: str) -> Person:
    """Keep a person's units of measure with the account."""
    by.temperature_unit, by.power_unit = temperature, power
    by.save(update_fields=["temperature_unit", "power_unit"])
    return by


@transaction.atomic
def admit(*, bench: Bench, username: str, role: str, by: Person) -> Membership:
    """Give a person of this site a role on the bench, or change the role they have."""
    person = person_named(username)
    if role != Role.OWNER and bench.memberships.filter(person=person, role=Role.OWNER).exists():
        _keep_an_owner(bench, without=person)
    membership, _ = Membership.objects.update_or_create(bench=bench, person=person, defaults={"role": Role(role)})
    remember_change(bench=bench, what=f"Made {person} {Role(role).label.lower()}", by=by)
    return membership


@transaction.atomic
def dismiss(*, membership: Membership, by: Person) -> Person:
    """Take a person off the bench; the last owner stays."""
    _keep_an_owner(membership.bench, without=membership.person)
    person = membership.person
    membership.delete()
    remember_change(bench=membership.bench, what=f"Took {person} off the bench", by=by)
    return person


def person_named(username: str) -> Person:
    """Return the person of this site who has a user name."""
    person = Person.objects.filter(username=username, is_active=True).first()
    if person is None:
        raise ValidationError(f"Nobody here has the user name “{username}”. Names are case-sensitive.")
    return person


def register(*, username: str, password: str) -> Person:
    """Make an account; the form has looked at name and password."""
    return Person.objects.create_user(username=username, password=password)


def remember_change(*, bench: Bench, what: str, by: Person) -> BenchChange:
    """Add a line to the bench's history of people."""
    return BenchChange.objects.create(bench=bench, what=what, changed_by=by)


def _keep_an_owner(bench: Bench, *, without: Person) -> None:
    """Refuse what would leave a bench without an owner; the rows are locked so that two cannot leave at once."""
    owners = Membership.objects.select_for_update().filter(bench=bench, role=Role.OWNER)
    if not [member for member in owners if member.person_id != without.pk]:
        raise ValidationError("A bench keeps at least one owner: make another person owner first.")


@transaction.atomic
def open_bench(*, name: str, about: str = "", by: Person) -> Bench:
    """Open a bench owned by the person who asks."""
    bench = Bench.objects.create(name=name, slug=_free_slug(name), about=about)
    Membership.objects.create(bench=bench, person=by, role=Role.OWNER)
    remember_change(bench=bench, what="Opened the bench", by=by)
    return bench


def _free_slug(name: str) -> str:
    stem = slugify(name)[:50] or "bench"
    taken = set(Bench.objects.filter(slug__startswith=stem).values_list("slug", flat=True))
    return next(slug for slug in [stem, *(f"{stem}-{n}" for n in range(2, len(taken) + 3))] if slug not in taken)
