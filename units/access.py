"""Who may see and do what. Fetching a row is the permission check; nothing else knows roles.

A model states its way to the bench that owns it in `bench_path` (`"session__bench"`; a bench's own is empty).
A bench may ask for a second step at sign-in: who has none then sees nothing of it, as if the role were not there yet.
A visitor sees none of a bench: what is published is read through `units.compare` and the editions.
"""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Exists, F, Model, OuterRef, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from units.models import Bench, Handover, Membership, Person, PublishedPoint, Role, SecondStep, SecondStepRule, Unit

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from uuid import UUID

    from django.contrib.auth.models import AnonymousUser

AnyModel = TypeVar("AnyModel", bound=Model)
Intent = Literal["read", "edit", "own"]

NEEDED: dict[Intent, Role] = {"read": Role.READER, "edit": Role.TESTER, "own": Role.OWNER}
STRENGTH = {role: strength for strength, role in enumerate(Role)}


class SecondStepNeeded(PermissionDenied):
    """What was asked for is the person's to see, once they have a second step at sign-in."""


def visible(
    model: type[AnyModel], person: Person | AnonymousUser, *, to: Intent = "read", by_token: bool = False
) -> QuerySet[AnyModel]:
    """Rows of `model` on the person's benches where their role suffices; each row carries it as `role`.

    Benches that ask for a second step are left out where the person has none. A program's token needs none: it is a
    long random secret that no password opens, made by an owner of the bench.
    """
    if not person.is_authenticated:
        return model._default_manager.none()
    rows = _of_role(model, person, to)
    return rows if by_token else rows.filter(_opens(model.bench_path, person))


def _opens(bench_path: str, person: Person) -> Q:
    """Return the condition that a bench asks for no second step (yet), or the person has one."""
    begins = f"{bench_path}__second_step_rule__begins_at".removeprefix("__")
    asks_none = Q(**{f"{begins}__isnull": True}) | Q(**{f"{begins}__gt": timezone.now()})
    return asks_none | Q(Exists(SecondStep.objects.filter(person=person, confirmed_at__isnull=False)))


def _of_role(model: type[AnyModel], person: Person, to: Intent) -> QuerySet[AnyModel]:
    members = f"{model.bench_path}__memberships" if model.bench_path else "memberships"
    roles = [role for role in Role if STRENGTH[role] >= STRENGTH[NEEDED[to]]]
    rows = model._default_manager.filter(**{f"{members}__person": person, f"{members}__role__in": roles})
    name = "role_here" if model is Membership else "role"
    return rows if hasattr(model, name) else rows.annotate(**{name: F(f"{members}__role")})


def fetch(
    model: type[AnyModel],
    pk: UUID | str | int,
    *,
    person: Person | AnonymousUser,
    to: Intent = "read",
    by_token: bool = False,
) -> AnyModel:
    """Return the row.

    Raises Http404 for all that is not visible, PermissionDenied for too weak a role, and SecondStepNeeded where only
    the person's second step is missing.
    """
    try:
        row = visible(model, person, by_token=by_token).filter(pk=pk).first()
    except (ValueError, ValidationError) as error:
        raise Http404(f"No {model._meta.verbose_name} here.") from error
    if row is None:
        _refuse_without_second_step(model, pk, person)
        raise Http404(f"No {model._meta.verbose_name} here.")
    role = row.role_here if isinstance(row, Membership) else row.role
    if STRENGTH[Role(role)] < STRENGTH[NEEDED[to]]:
        raise PermissionDenied(f"This needs the role {NEEDED[to].label.lower()} on the bench; yours is {role}.")
    return row


def _refuse_without_second_step(model: type[Model], pk: UUID | str | int, person: Person | AnonymousUser) -> None:
    if visible(model, person, by_token=True).filter(pk=pk).exists():
        raise SecondStepNeeded("This bench opens only to who has a second step at sign-in. Set it up to go on.")


def own(model: type[AnyModel], person: Person | AnonymousUser) -> QuerySet[AnyModel]:
    """Rows of no bench yet that are the person's alone, by the model's `person_path`."""
    if not person.is_authenticated:
        return model._default_manager.none()
    return model._default_manager.filter(**{model.person_path: person, f"{model.bench_path}__isnull": True})


def fetch_own(model: type[AnyModel], pk: UUID | str, *, person: Person | AnonymousUser) -> AnyModel:
    """Return a row of no bench yet that is the person's alone (the model's `person_path`), or raise Http404."""
    row = own(model, person).filter(pk=pk).first()
    if row is None:
        raise Http404(f"No {model._meta.verbose_name} of yours here.")
    return row


def may(bench: Bench | None, person: Person | AnonymousUser, to: Intent) -> bool:
    """Say whether the person's role on the bench suffices, for what a page offers."""
    return bench is not None and visible(Bench, person, to=to).filter(pk=bench.pk).exists()


def current_bench(person: Person | AnonymousUser, chosen: str | None = None) -> Bench | None:
    """Return the bench a person works at: the chosen one where it is theirs, else their first, else none."""
    mine = visible(Bench, person).select_related("second_step_rule")  # pages say from when on it will be asked for
    benches = list(mine) if person.is_authenticated else []
    return next((bench for bench in benches if str(bench.pk) == chosen), benches[0] if benches else None)


def at_bench(*, to: Intent = "read", posting: Intent | None = None) -> Callable[..., Callable[..., HttpResponse]]:
    """Give a view the bench of work where the role suffices; who has none yet is sent to where one is opened."""

    def at_role(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        @login_required
        def fetched(request: HttpRequest, **kwargs: Any) -> HttpResponse:
            if request.bench is None:
                return redirect("bench-home")
            needed = posting if posting and request.method == "POST" else to
            return view(request, fetch(Bench, request.bench.pk, person=request.user, to=needed), **kwargs)

        return fetched

    return at_role


def asking_for_second_step(person: Person) -> QuerySet[SecondStepRule]:
    """Rules of the person's benches that ask, or will ask, for a second step."""
    return (
        SecondStepRule.objects.filter(bench__memberships__person=person).select_related("bench").order_by("begins_at")
    )


def grace_of_second_step(bench: Bench, person: Person) -> datetime | None:
    """Return from when on the bench of work is closed to a person who has no second step; None if it will not be."""
    rule = getattr(bench, "second_step_rule", None)
    if rule is None or SecondStep.objects.filter(person=person, confirmed_at__isnull=False).exists():
        return None
    return rule.begins_at


def closed_to(person: Person) -> QuerySet[Bench]:
    """Benches of the person that open once they have a second step at sign-in."""
    return visible(Bench, person, by_token=True).exclude(pk__in=visible(Bench, person).values("pk"))


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
