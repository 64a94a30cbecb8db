"""The result: points with their budgets, findings, digests; earlier reductions beside."""

from __future__ import annotations

import json
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from reduction.errors import ReductionError
from tests_app import charts, tasks
from tests_app.actions import attach as attach_action
from tests_app.actions import reduce
from tests_app.models import Reduction, Session
from tests_app.views.common import at_session, page
from units import access
from units.models import Unit


@at_session
def show(request: HttpRequest, session: Session, reduction_id: UUID | None = None) -> HttpResponse:
    """Show one reduction of the session: the standing one, or an earlier one by its id."""
    reductions = list(session.reductions.select_related("reduced_by", "superseded_by").prefetch_related("points"))
    chosen = next((row for row in reductions if row.pk == reduction_id), None) if reduction_id else None
    shown = chosen or next((row for row in reductions if not hasattr(row, "superseded_by")), None)
    context = {
        "reductions": reductions,
        "reduction": shown,
        "points": [charts.shown_point(point) for point in shown.points.all()] if shown else [],
        "is_due": _is_due(session),
        "units": session.bench.units.all() if session.unit_id is None else [],
    }
    return page(request, session, "result", **context)


def _is_due(session: Session) -> str | bool:
    """Say whether a new reduction would be made from other inputs, or the sentence why none can be made yet."""
    try:
        return reduce.is_due(session)
    except ReductionError as error:
        return str(error)


@require_POST
@at_session
def reduce_now(request: HttpRequest, session: Session) -> HttpResponse:
    """Queue the session's reduction."""
    job = tasks.queue_reduction(session=session, by=request.user)
    return redirect("job", job.pk)


@require_POST
@at_session
def attach(request: HttpRequest, session: Session) -> HttpResponse:
    """Say which unit was tested."""
    unit = access.fetch(Unit, request.POST.get("unit", ""), person=request.user, to="edit")
    attach_action.to_unit(session=session, unit=unit, by=request.user)
    messages.success(request, f"This session is now of {unit}. Reduce it again to compare it with the claims.")
    return redirect("result", session.pk)


@at_session
def result_json(request: HttpRequest, session: Session, reduction_id: UUID) -> HttpResponse:
    """Give the whole result as it was stored."""
    return _attachment(access.fetch(Reduction, reduction_id, person=request.user).result, "RESULT.json")


@at_session
def document_json(request: HttpRequest, session: Session, reduction_id: UUID) -> HttpResponse:
    """Give the session document that was reduced."""
    return _attachment(access.fetch(Reduction, reduction_id, person=request.user).document, "SESSION.json")


def _attachment(data: object, name: str) -> HttpResponse:
    text = json.dumps(data, indent=2, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
