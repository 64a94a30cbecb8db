"""The list of sessions, and a new one."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Max, Q
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from tests_app.actions import sessions
from tests_app.forms.decision import RuleForm
from tests_app.forms.sessions import SessionForm
from tests_app.models import Point, Session
from tests_app.views.common import STEPS, at_session, steps
from units import access
from units.models import Bench, Person

PAGE = 50


@require_safe
@access.at_bench()
def listing(request: HttpRequest, bench: Bench) -> HttpResponse:
    """List the sessions of the person's bench, newest first."""
    rows = access.visible(Session, request.user).filter(bench=bench).select_related("unit", "room")
    wanted = request.GET.get("q", "").replace("\x00", "").strip()
    if wanted:
        rows = rows.filter(
            Q(name__icontains=wanted) | Q(unit__maker__icontains=wanted) | Q(unit__model__icontains=wanted)
        )
    rows = rows.annotate(
        file_count=Count("files", distinct=True),
        reduced_at=Max("reductions__reduced_at"),
    ).order_by("-created_at", "pk")
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    points = standing_points(page.object_list, request.user)
    context = {
        "page": page,
        "rows": [(session, points.get(session.pk, [])) for session in page],
        "wanted": wanted,
        "may_edit": access.may(bench, request.user, "edit"),
        "is_synthetic": bench.is_synthetic,
    }
    return render(request, "tests_app/sessions.html", context)


def standing_points(shown: Iterable[Session], person: Person) -> dict[UUID, list[Point]]:
    """Return the usable points of each session's standing reduction, by session, in one query."""
    points = access.visible(Point, person).filter(
        reduction__session__in=list(shown), reduction__superseded_by=None, usable=True
    )
    by_session: dict[UUID, list[Point]] = {}
    for point in points.select_related("reduction").defer("detail", "reduction__result", "reduction__document"):
        by_session.setdefault(point.reduction.session_id, []).append(point)
    return by_session


def _posted(request: HttpRequest) -> QueryDict | None:
    return request.POST if request.method == "POST" else None


@access.at_bench(to="edit")
def new(request: HttpRequest, bench: Bench) -> HttpResponse:
    """Make a session; a unit or a purpose given in the address is chosen already."""
    given = {name: request.GET.get(name) for name in ("unit", "purpose")}
    form = SessionForm(_posted(request), bench=bench, initial=given)
    judged = RuleForm(_posted(request), prefix="decision")
    if request.method == "POST" and all([form.is_valid(), judged.is_valid()]):
        session = sessions.create(bench=bench, rule=judged.chosen(), by=request.user, **form.cleaned_data)
        return redirect("files", session.pk)
    return render(
        request,
        "tests_app/session_new.html",
        {"form": form, "judged": judged, "is_synthetic": bench.is_synthetic},
        status=422 if form.errors or judged.errors else 200,
    )


@require_safe
@at_session
def show(request: HttpRequest, session: Session) -> HttpResponse:
    """Resume where the work was left: the first step that is not done."""
    undone = [name for (name, _), step in zip(STEPS, steps(session, ""), strict=True) if not step.is_done]
    return redirect(undone[0] if undone else "result", session.pk)


@at_session
def edit(request: HttpRequest, session: Session) -> HttpResponse:
    """Change a session's name, unit, room, purpose or zone."""
    given = {name: getattr(session, name) for name in SessionForm.base_fields}
    form = SessionForm(_posted(request), bench=session.bench, initial=given)
    if request.method == "POST" and form.is_valid():
        sessions.describe(session=session, by=request.user, **form.cleaned_data)
        messages.success(request, "Saved.")
        return redirect("session", session.pk)
    return render(
        request,
        "tests_app/session_edit.html",
        {"form": form, "session": session, "is_synthetic": session.is_synthetic},
        status=422 if form.errors else 200,
    )


@require_POST
@at_session
def remove(request: HttpRequest, session: Session) -> HttpResponse:
    """Remove a session that has no result."""
    sessions.remove(session=session, by=request.user)
    messages.success(request, f"“{session.name}” is removed.")
    return redirect("sessions")
