"""A bench given to another owner: offered, and taken or declined by the one it is offered to."""

from __future__ import annotations

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from units.actions.people import person_named, remember_change
from units.models import Bench, Handover, Membership, Person, Role

OPEN_FOR = timedelta(days=14)


@transaction.atomic
def offer(*, bench: Bench, username: str, stays_as: str, by: Person) -> Handover:
    """Offer the bench to a person, who has to take it; an offer that lapsed unanswered makes room."""
    to = person_named(username)
    if to == by:
        raise ValidationError("You own the bench already: name another person.")
    Bench.objects.select_for_update().get(pk=bench.pk)  # two owners who offer it at once do so one after the other
    lapsed = Handover.objects.filter(bench=bench, outcome="", expires_at__lte=timezone.now())
    lapsed.update(outcome=Handover.Outcome.WITHDRAWN, ended_at=timezone.now())
    if Handover.objects.filter(bench=bench, outcome="").exists():
        raise ValidationError("The bench is offered to somebody already: withdraw that offer first.")
    handover = Handover.objects.create(
        bench=bench, offered_by=by, offered_to=to, stays_as=stays_as, expires_at=timezone.now() + OPEN_FOR
    )
    remember_change(bench=bench, what=f"Offered the bench to {to}", by=by)
    return handover


@transaction.atomic
def take(*, handover: Handover, by: Person) -> Bench:
    """Become owner in the place of who offered it, who stays in the role agreed or leaves."""
    offered = _open(handover, by=by)
    bench, giver = offered.bench, offered.offered_by
    if not bench.memberships.select_for_update().filter(person=giver, role=Role.OWNER).exists():
        raise ValidationError(f"{giver} no longer owns {bench} and cannot hand it over.")
    Membership.objects.update_or_create(bench=bench, person=by, defaults={"role": Role.OWNER})
    theirs = bench.memberships.filter(person=giver)
    if offered.stays_as:
        theirs.update(role=offered.stays_as)
    else:
        theirs.delete()
    left = f"stays as {Role(offered.stays_as).label.lower()}" if offered.stays_as else "left"
    _end(offered, Handover.Outcome.TAKEN, f"{by} took the bench over from {giver}, who {left}", by=by)
    return bench


@transaction.atomic
def decline(*, handover: Handover, by: Person) -> Handover:
    """Leave the bench with who has it."""
    return _end(_open(handover, by=by), Handover.Outcome.DECLINED, f"{by} declined to take the bench over", by=by)


@transaction.atomic
def withdraw(*, handover: Handover, by: Person) -> Handover:
    """Take an offer back."""
    offered = Handover.objects.select_for_update().get(pk=handover.pk)
    if offered.outcome:
        raise ValidationError("That offer has ended already.")
    return _end(offered, Handover.Outcome.WITHDRAWN, f"Withdrew the offer of the bench to {offered.offered_to}", by=by)


def _open(handover: Handover, *, by: Person) -> Handover:
    """Return the offer, locked, while it can be answered by this person."""
    rows = Handover.objects.select_for_update(of=("self",)).select_related("bench", "offered_by")
    offered = rows.filter(pk=handover.pk, offered_to=by, outcome="", expires_at__gt=timezone.now()).first()
    if offered is None:
        raise ValidationError("That offer has ended already.")
    return offered


def _end(handover: Handover, outcome: str, said: str, *, by: Person) -> Handover:
    handover.outcome, handover.ended_at = outcome, timezone.now()
    handover.save(update_fields=["outcome", "ended_at"])
    remember_change(bench=handover.bench, what=said, by=by)
    return handover
