"""The result: points with their budgets, findings, digests; earlier reductions beside."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from reduction import session as doc
from reduction.errors import ReductionError
from reduction.judge.decision import in_words
from reduction.room.envelope import total_ua
from tests_app import charts, tasks
from tests_app.actions import attach as attach_action
from tests_app.actions import reduce, reference
from tests_app.models import Reduction, Session
from tests_app.views.common import at_session, fetch_within, page
from units import access
from units.chart_files import asked_file
from units.models import Unit
from units.quantities import Display, display_of

SHARE_BAR_REM = 8.0
PICTURES = ("terms_picture", "shortfall_picture")  # of each point


@require_safe
@at_session
def show(request: HttpRequest, session: Session, reduction_id: UUID | None = None) -> HttpResponse:
    """Show one reduction of the session: the standing one, or an earlier one by its id."""
    reductions = list(session.reductions.select_related("reduced_by", "superseded_by").prefetch_related("points"))
    shown = _chosen(reductions, reduction_id)
    is_due, refusal = _is_due(session)
    context: dict[str, Any] = {
        "reductions": reductions,
        "reduction": shown,
        "is_due": is_due,
        "refusal": refusal,
        "units": session.bench.units.all() if session.unit_id is None else [],
        "windows_accepted": session.windows.filter(accepted=True).count(),
    }
    if shown is not None:
        result, display = doc.Result.model_validate(shown.result), display_of(request)
        context["drift"] = (
            reference.alarms_at(session.bench, min(point.start for point in result.points)) if result.points else []
        )
        context |= _judged_by(session, shown)
        points = [_shown(point, display, nth) for nth, point in enumerate(result.points, start=1)]
        context |= {"result": result, "points": points}
        context |= _room_shown(result.room_fit) if result.room_fit else {}
        context["compared"] = charts.windows_compared(result.points, display) if len(result.points) > 1 else None
        drawn = [context["compared"], context.get("fit_picture"), *(each[name] for each in points for name in PICTURES)]
        if file := asked_file(request, drawn):
            return file
    return page(request, session, "result", **context)


def _room_shown(fit: doc.RoomFit) -> dict[str, Any]:
    """Return what the page shows of a fitted room beside its figures."""
    return {
        "fit_picture": charts.room_fit(fit) if fit.course_w else None,
        "fit_total": total_ua(fit.surfaces),
        "fit_correlation": list(zip(fit.parameter_names, fit.correlation, strict=True)) if fit.correlation else [],
    }


def _judged_by(session: Session, shown: Reduction) -> dict[str, Any]:
    """Return the rule that this reduction's claims were judged by, and every choice of one until today."""
    decision = doc.DecisionRule.model_validate(shown.document.get("decision") or {})
    choices = session.rule_choices.select_related("chosen_by")
    return {"decision": decision, "rule": in_words(decision), "choices": choices}


def _chosen(reductions: list[Reduction], reduction_id: UUID | None) -> Reduction | None:
    if reduction_id is None:
        return next((row for row in reductions if not hasattr(row, "superseded_by")), None)
    found = next((row for row in reductions if row.pk == reduction_id), None)
    if found is None:
        raise Http404("No such reduction of this session.")
    return found


def _is_due(session: Session) -> tuple[bool, str]:
    """Say whether a new reduction would be made from other inputs, or why none can be made yet."""
    if not session.files.exists():
        return False, "Upload the log files first; there is nothing to reduce yet."
    try:
        return reduce.is_due(session), ""
    except ReductionError as error:
        return False, str(error)


def _shown(point: doc.Point, display: Display, nth: int) -> dict[str, Any]:
    """Return a point with its pictures and tables, the budget with the largest share first."""
    budget = sorted(point.budget, key=lambda line: -abs(line.share))
    return {
        "point": point,
        "terms_picture": charts.terms(point, display, nth),
        "budget": [(line, max(0.0, line.share) * SHARE_BAR_REM) for line in budget],
        "shortfall_picture": charts.shortfall(point, display, nth) if point.shortfall else None,
        "conditions": [(name, measured) for name, measured in point.conditions.items()],
    }


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


@require_safe
@at_session
def result_json(request: HttpRequest, session: Session, reduction_id: UUID) -> HttpResponse:
    """Give the whole result as it was stored."""
    reduction = fetch_within(session, Reduction, reduction_id, person=request.user, to="read")
    return _attachment(reduction.result, "RESULT.json")


@require_safe
@at_session
def document_json(request: HttpRequest, session: Session, reduction_id: UUID) -> HttpResponse:
    """Give the session document that was reduced."""
    reduction = fetch_within(session, Reduction, reduction_id, person=request.user, to="read")
    return _attachment(reduction.document, "SESSION.json")


def _attachment(data: object, name: str) -> HttpResponse:
    text = json.dumps(data, indent=2, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
