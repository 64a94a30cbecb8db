"""Who may see and do what. Fetching a row is the permission check; nothing else knows roles.

A model states its way to the bench that owns it in `bench_path` (`"session__bench"`; a bench's own is empty).
A visitor sees none of a bench: what is published is read through `units.compare` and the editions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeVar

from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Exists, F, Model, OuterRef, Q, QuerySet
from django.http import Http404
from django.utils import timezone

from units.models import Bench, Handover, Membership, Person, PublishedPoint, Role, Unit

if TYPE_CHECKING:
    from uuid import UUID

    from django.contrib.auth.models import AnonymousUser

AnyModel = TypeVar("AnyModel", bound=Model)
Intent = Literal["read", "edit", "own"]

NEEDED: dict[Intent, Role] = {"read": Role.READER, "edit": Role.TESTER, "own": Role.OWNER}
STRENGTH = {role: strength for strength, role in enumerate(Role)}


def visible(model: type[AnyModel], person: Person | AnonymousUser, *, to: Intent = "read") -> QuerySet[AnyModel]:
    """Rows of `model` on the person's benches where their role suffices; each row carries it as `role`."""
    if not person.is_authenticated:
        return model._default_manager.none()
    members = f"{model.bench_path}__memberships" if model.bench_path else "memberships"
    roles = [role for role in Role if STRENGTH[role] >= STRENGTH[NEEDED[to]]]
    rows = model._default_manager.filter(**{f"{members}__person": person, f"{members}__role__in": roles})
    name = "role_here" if model is Membership else "role"
    return rows if hasattr(model, name) else rows.annotate(**{name: F(f"{members}__role")})


def fetch(
    model: type[AnyModel], pk: UUID | str | int, *, person: Person | AnonymousUser, to: Intent = "read"
) -> AnyModel:
    """Return the row, or raise Http404 for all that is not visible and PermissionDenied for too weak a role."""
    try:
        row = visible(model, person).filter(pk=pk).first()
    except (ValueError, ValidationError) as error:
        raise Http404(f"No {model._meta.verbose_name} here.") from error
    if row is None:
        raise Http404(f"No {model._meta.verbose_name} here.")
    role = row.role_here if isinstance(row, Membership) else row.role
    if STRENGTH[Role(role)] < STRENGTH[NEEDED[to]]:
        raise PermissionDenied(f"This needs the role {NEEDED[to].label.lower()} on the bench; yours is {role}.")
    return row


def may(bench: Bench | None, person: Person | AnonymousUser, to: Intent) -> bool:
    """Say whether the person's role on the bench suffices, for what a page offers."""
    return bench is not None and visible(Bench, person, to=to).filter(pk=bench.pk).exists()


def current_bench(person: Person | AnonymousUser, chosen: str | None = None) -> Bench | None:
    """Return the bench a person works at: the chosen one where it is theirs, else their first, else none."""
    benches = list(visible(Bench, person)) if person.is_authenticated else []
    return next((bench for bench in benches if str(bench.pk) == chosen), benches[0] if benches else None)


def offers_to(person: Person | AnonymousUser) -> QuerySet[Handover]:
    """Benches offered to a person and not answered yet, whether or not the person is on them."""
    rows = Handover.objects.filter(outcome="", expires_at__gt=timezone.now()).select_related("bench", "offered_by")
    return rows.filter(offered_to=person) if person.is_authenticated else rows.none()


def fetch_offer(pk: UUID, *, person: Person) -> Handover:
    """Return an open offer to the person, or raise Http404."""
    offer = offers_to(person).filter(pk=pk).first()
    if offer is None:
        raise Http404("No such offer to you, or no longer.")
    return offer


def readable_units(person: Person | AnonymousUser) -> QuerySet[Unit]:
    """Units with a published point, and those of the person's own benches."""
    published = Q(Exists(PublishedPoint.objects.filter(is_current=True, unit=OuterRef("pk"))))
    own = Q(bench__in=visible(Bench, person)) if person.is_authenticated else Q()
    return Unit.objects.filter(published | own if own else published)


def fetch_readable_unit(pk: UUID | str, *, person: Person | AnonymousUser) -> Unit:
    """Return a unit that is published or on the person's bench, or raise Http404."""
    unit = readable_units(person).select_related("bench").filter(pk=pk).first()
    if unit is None:
        raise Http404("No such unit here.")
    return unit


def published_points() -> QuerySet[PublishedPoint]:
    """Points of the current editions, which all may read, without the documents they stand in."""
    current = PublishedPoint.objects.filter(is_current=True).select_related("unit", "edition__review")
    return current.defer("detail", "edition__document", "edition__html")
