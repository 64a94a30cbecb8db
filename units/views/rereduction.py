"""Results that were made from what no longer holds: the list, reducing them again as one task, what it changed."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Q, QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from reduction.method import METHOD_VERSION
from tests_app import tasks
from tests_app.actions import jobs
from tests_app.actions.changes import largest, outcomes
from tests_app.actions.outdated import outdated
from tests_app.models import Job, Session
from units import access
from units.editions.resting import editions_resting_on
from units.middleware import BenchRequest
from units.models import Bench, Instrument, Room


@require_safe
@access.at_bench()
def listing(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the outdated results of the bench of work, of one instrument's or one room's sessions where asked."""
    sessions, subject = _asked_for(request, bench)
    rows = outdated(sessions)
    context = {
        "rows": rows,
        "subject": subject,
        "method_version": METHOD_VERSION,
        "resting": editions_resting_on(row.standing for row in rows),
        "jobs": access.visible(Job, request.user).filter(bench=bench, what=tasks.REREDUCTION)[:5],
        "may_edit": access.may(bench, request.user, "edit"),
        "is_synthetic": bench.is_synthetic,
    }
    return render(request, "units/rereductions.html", context)


def _asked_for(request: BenchRequest, bench: Bench) -> tuple[QuerySet[Session], Instrument | Room | None]:
    sessions = access.visible(Session, request.user).filter(bench=bench, reductions__isnull=False).distinct()
    sessions = sessions.select_related("unit", "room", "bench").order_by("created_at")
    for model, path in ((Instrument, "files__channels__instrument"), (Room, "room")):
        key = request.GET.get(model.__name__.lower())
        if key:
            subject = access.fetch(model, key, person=request.user)
            return sessions.filter(Q(**{path: subject})), subject
    return sessions, None


@access.at_bench(to="edit")
@require_POST
def begin(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Reduce the chosen sessions again as one task."""
    try:
        keys = {UUID(key) for key in request.POST.getlist("session")}
    except ValueError as error:
        raise Http404("No such session here.") from error
    sessions = list(access.visible(Session, request.user, to="edit").filter(bench=bench, pk__in=keys))
    if not sessions:
        messages.error(request, "Choose at least one session.")
        return redirect("rereductions")
    job = tasks.queue_rereduction(bench=bench, sessions=sessions, by=request.user)
    return redirect("rereduction", job.pk)


@require_safe
@login_required
def show(request: BenchRequest, job_id: UUID) -> HttpResponse:
    """Show how far the task is, and what it changed: old beside new, in units of U, with the editions it touches."""
    job = access.fetch(Job, job_id, person=request.user)
    if job.what != tasks.REREDUCTION:
        raise Http404("No such task here.")
    if job.is_open and jobs.is_lost(job):
        tasks.recover()
        job.refresh_from_db()
    rows = sorted(outcomes(job), key=lambda row: row.moved_u, reverse=True)
    moved = [row for row in rows if row.is_seen]
    beyond = {row.before.pk for row in moved if row.beyond_u}
    context = {
        "job": job,
        "is_open": job.is_open,
        "may_edit": access.may(job.bench, request.user, "edit"),
        "left": tasks.left_of(job),
        "rows": rows,
        "moved": len(moved),
        "largest": largest(rows),
        "beyond": len(beyond),
        "resting": [
            (each, any(row.pk in beyond for row in each.reductions))
            for each in editions_resting_on(row.before for row in moved)
        ],
        "is_synthetic": job.bench.is_synthetic,
    }
    return render(request, "units/_rereduction.html" if request.htmx else "units/rereduction.html", context)
