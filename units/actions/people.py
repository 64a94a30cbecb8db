"""People of a bench and what they chose."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from units.models import Bench, Membership, Person, Role


@transaction.atomic
def remember_display(*, by: Person, temperature: str, power: str) -> Person:
    """Keep a person's units of measure with the account."""
    by.temperature_unit, by.power_unit = temperature, power
    by.save(update_fields=["temperature_unit", "power_unit"])
    return by


@transaction.atomic
def admit(*, bench: Bench, username: str, role: str, by: Person) -> Membership:
    """Give a person of this site a role on the bench, or change the role they have."""
    person = Person.objects.filter(username=username, is_active=True).first()
    if person is None:
        raise ValidationError(f"Nobody here has the user name “{username}”. Names are case-sensitive.")
    if role != Role.OWNER and bench.memberships.filter(person=person, role=Role.OWNER).exists():
        _keep_an_owner(bench, without=person)
    membership, _ = Membership.objects.update_or_create(bench=bench, person=person, defaults={"role": Role(role)})
    return membership


@transaction.atomic
def dismiss(*, membership: Membership, by: Person) -> Person:
    """Take a person off the bench; the last owner stays."""
    _keep_an_owner(membership.bench, without=membership.person)
    person = membership.person
    membership.delete()
    return person


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
    return bench


def _free_slug(name: str) -> str:
    stem = slugify(name)[:50] or "bench"
    taken = set(Bench.objects.filter(slug__startswith=stem).values_list("slug", flat=True))
    return next(slug for slug in [stem, *(f"{stem}-{n}" for n in range(2, len(taken) + 3))] if slug not in taken)
