"""Links by which a person joins a bench: made, revoked, used once; no letter is sent, the owner hands the link over."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from units.access import STRENGTH
from units.actions.people import register, remember_change
from units.models import Bench, Invitation, Membership, Person, Role

SECRET_BYTES = 32
LONGEST_DAYS = 30
MOST_OPEN = 50
_LIVING = {"accepted_at__isnull": True, "revoked_at__isnull": True}


@transaction.atomic
def invite(*, bench: Bench, label: str, offered_role: str, days: int, by: Person) -> tuple[Invitation, str]:
    """Make an invitation and return it with its secret, which is shown once and kept only as its hash."""
    if not 1 <= days <= LONGEST_DAYS:
        raise ValidationError(f"An invitation lives 1 to {LONGEST_DAYS} days.")
    if open_at(bench).count() >= MOST_OPEN:
        raise ValidationError(f"{MOST_OPEN} invitations are open already: revoke some first.")
    secret = secrets.token_urlsafe(SECRET_BYTES)
    invitation = Invitation.objects.create(
        bench=bench,
        label=label,
        offered_role=Role(offered_role),
        secret_sha256=hashed(secret),
        invited_by=by,
        expires_at=timezone.now() + timedelta(days=days),
    )
    said = f"Invited {label} as {invitation.get_offered_role_display().lower()}"
    remember_change(bench=bench, what=said, by=by)
    return invitation, secret


@transaction.atomic
def revoke(*, invitation: Invitation, by: Person) -> Invitation:
    """End an invitation that nobody has used."""
    if invitation.accepted_at is None and invitation.revoked_at is None:
        invitation.revoked_at = timezone.now()
        invitation.save(update_fields=["revoked_at"])
        remember_change(bench=invitation.bench, what=f"Revoked the invitation of {invitation.label}", by=by)
    return invitation


@transaction.atomic
def accept(*, secret: str, by: Person) -> Membership:
    """Join by an invitation; a stronger role that the person has already is never weakened, nor the link used up."""
    invitation = living(secret, lock=True)
    if invitation is None:
        raise ValidationError("This invitation has expired, was revoked or was used.")
    bench, role = invitation.bench, Role(invitation.offered_role)
    here = bench.memberships.select_for_update().filter(person=by).first()
    if here is not None and STRENGTH[Role(here.role)] >= STRENGTH[role]:
        raise ValidationError(f"You are {here.get_role_display().lower()} of {bench} already.")
    membership, _ = Membership.objects.update_or_create(bench=bench, person=by, defaults={"role": role})
    invitation.accepted_at = timezone.now()
    invitation.save(update_fields=["accepted_at"])
    said = f"{by} joined as {role.label.lower()}, invited as “{invitation.label}” by {invitation.invited_by}"
    remember_change(bench=bench, what=said, by=by)
    return membership


@transaction.atomic
def register_and_accept(*, secret: str, username: str, password: str) -> Membership:
    """Make an account for who holds an invitation, and join."""
    if living(secret) is None:
        raise ValidationError("This invitation has expired, was revoked or was used.")
    return accept(secret=secret, by=register(username=username, password=password))


def living(secret: str, *, lock: bool = False) -> Invitation | None:
    """Return the invitation of a secret while it can be used: also not after who made it ceased to own the bench."""
    rows = Invitation.objects.select_for_update(of=("self",)) if lock else Invitation.objects.all()
    rows = rows.select_related("bench", "invited_by")
    found = rows.filter(secret_sha256=hashed(secret), **_LIVING, expires_at__gt=timezone.now()).first()
    owns = found and found.bench.memberships.filter(person=found.invited_by, role=Role.OWNER).exists()
    return found if owns and found.bench.delete_after is None else None


def open_at(bench: Bench) -> QuerySet[Invitation]:
    """Return the invitations of a bench that may still be used."""
    return Invitation.objects.filter(bench=bench, **_LIVING, expires_at__gt=timezone.now())


def hashed(secret: str) -> str:
    """Return what is kept of a secret; it is random and long, so one round of SHA-256 is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()
