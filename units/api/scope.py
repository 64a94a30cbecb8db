"""What a request may see: the person's benches, narrowed to its token's bench and role."""

from __future__ import annotations

from typing import TypeVar
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Model, QuerySet
from rest_framework.exceptions import NotFound
from rest_framework.request import Request

from units import access
from units.access import NEEDED, STRENGTH, Intent
from units.models import ApiToken, Bench, Role

AnyModel = TypeVar("AnyModel", bound=Model)


def nothing(model: type[AnyModel]) -> QuerySet[AnyModel]:
    """No rows: tells the API's document what a view is about, and lets nothing slip where a view forgets to ask."""
    return model._default_manager.none()


def visible(model: type[AnyModel], request: Request, *, to: Intent = "read") -> QuerySet[AnyModel]:
    """Rows that the person sees; with a token, those of its bench and none where its role is too weak."""
    by_token = isinstance(request.auth, ApiToken)
    rows = access.visible(model, request.user, to=to, by_token=by_token)
    if not by_token:
        return rows
    if not _suffices(request.auth, to):
        return rows.none()
    return rows.filter(**{model.bench_path or "pk": request.auth.bench_id})


def fetch(model: type[AnyModel], pk: UUID | str, request: Request, *, to: Intent = "read") -> AnyModel:
    """Return the row, or raise NotFound for all that is not visible and PermissionDenied for too weak a role."""
    by_token = isinstance(request.auth, ApiToken)
    row = access.fetch(model, pk, person=request.user, by_token=by_token)
    if not visible(model, request).filter(pk=row.pk).exists():
        raise NotFound
    _require(request, to)
    return access.fetch(model, pk, person=request.user, to=to, by_token=by_token)


def bench(request: Request, wanted: UUID | None, *, to: Intent) -> Bench:
    """Return the bench to work on: the token's, the one asked for, or the person's only one."""
    _require(request, to)
    if isinstance(request.auth, ApiToken):
        wanted = wanted or request.auth.bench_id
    if wanted is not None:
        return fetch(Bench, wanted, request, to=to)
    benches = list(visible(Bench, request, to=to)[:2])
    if len(benches) != 1:
        raise PermissionDenied("State the bench: you may do this on " + ("several." if benches else "none."))
    return benches[0]


def _require(request: Request, to: Intent) -> None:
    if isinstance(request.auth, ApiToken) and not _suffices(request.auth, to):
        raise PermissionDenied(f"This needs a token of role {NEEDED[to].label.lower()}; this one's is weaker.")


def _suffices(token: ApiToken, to: Intent) -> bool:
    return STRENGTH[Role(token.token_role)] >= STRENGTH[NEEDED[to]]
