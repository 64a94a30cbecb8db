"""A bench at a glance: what is in work, what is due, what needs an answer."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth.decorators import login_required
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from reduction.method import METHOD_VERSION
from tests_app import questions
from tests_app.actions import quotas, reference
from tests_app.actions.outdated import changed_since
from tests_app.models import Finding, Job, Point, Reduction, Session
from units import access
from units.actions import people as people_actions
from units.forms.bench import BenchForm
from units.middleware import BENCH_IN_SESSION, BenchRequest
from units.models import Bench, CalibrationRecord, Instrument, MakerComment, Person, Review, Room, Unit

SOON = timedelta(days=30)
LATELY = timedelta(days=14)
A_FEW = 8
FIRST_STEPS = (
    (Room, "Describe the room", "room-new", "Its volume and construction are enough to begin with."),
    (Instrument, "Enter the instruments", "instrument-new", "Plugs, thermometers, scales, with the maker's limits."),
    (Unit, "Enter the unit", "unit-new", "With what its maker claims and how you came by it."),
    (Session, "Upload the first logs", "session-new", "Every file is read and explained before anything counts."),
)


@require_safe
@login_required
def home(request: BenchRequest) -> HttpResponse:
    """Show the bench of work, or how to open one."""
    benches = access.visible(Bench, request.user)
    waiting = access.own(Job, request.user).exclude(state__in=[Job.State.FAILED, Job.State.CANCELLED])
    context: dict[str, Any] = {
        "arrivals": waiting,
        "benches": benches,
        "form": BenchForm(),
        "offers": access.offers_to(request.user),
    }
    context |= {"closed": access.closed_to(request.user)}
    if request.bench is not None:
        context |= _work(request.bench, request.user) | _first_steps(request.bench, request.user)
    return render(request, "units/bench_home.html", context)


def _first_steps(bench: Bench, person: Person) -> dict[str, Any]:
    """Return what a new bench begins with, until its first result: (done, title, address, why)."""
    if access.visible(Reduction, person).filter(session__bench=bench).exists():
        return {}
    have = {model: access.visible(model, person).filter(bench=bench).exists() for model, *_ in FIRST_STEPS}
    steps = [(have[model], title, address, why) for model, title, address, why in FIRST_STEPS]
    return {"steps": steps, "begun": any(have.values()), "may_edit": access.may(bench, person, "edit")}


def _work(bench: Bench, person: Person) -> dict[str, Any]:
    sessions = access.visible(Session, person).filter(bench=bench).select_related("unit")
    jobs = access.visible(Job, person).filter(bench=bench, state__in=[Job.State.WAITING, Job.State.RUNNING])
    unreduced = list(
        sessions.filter(reductions__isnull=True).exclude(purpose="side_by_side").prefetch_related("files")[:A_FEW]
    )
    comments = access.visible(MakerComment, person, to="own").filter(review__bench=bench, accepted_at__isnull=True)
    return {
        "is_synthetic": bench.is_synthetic,
        "drift": reference.alarms_at(bench),
        "changed": changed_since(bench).count(),
        "older_method": access.visible(Reduction, person)
        .filter(session__bench=bench, superseded_by__isnull=True)
        .exclude(method_version=METHOD_VERSION)
        .count(),
        "unreduced": unreduced,
        "asked": [file for session in unreduced for file in session.files.all() if questions.open_in(file)][:A_FEW],
        "jobs": jobs.select_related("session")[:A_FEW],
        "failed": _failed(bench, person)[:A_FEW],
        "severe": _unanswered(bench, person)[:A_FEW],
        "comments": comments.select_related("review")[:A_FEW],
        "today": timezone.localdate(),
        "due": _due_instruments(bench, person)[:A_FEW],
        "unknown_rooms": access.visible(Room, person).filter(bench=bench, values__isnull=True)[:A_FEW],
        "drafts": access.visible(Review, person).filter(bench=bench, editions__isnull=True)[:A_FEW],
        "quotas": quotas.of(bench),
        "recent": _recent(sessions.filter(reductions__isnull=False).distinct().order_by("-updated_at"), person),
    }


def _recent(sessions: QuerySet[Session], person: Person) -> list[tuple[Session, list[Point]]]:
    """Return the sessions touched last with the points that stand."""
    few = list(sessions[:A_FEW])
    points = access.visible(Point, person).current().defer("detail").select_related("reduction")
    standing = points.filter(reduction__session__in=few, usable=True).order_by("position")
    return [(session, [p for p in standing if p.reduction.session_id == session.pk]) for session in few]


def _failed(bench: Bench, person: Person) -> QuerySet[Job]:
    """Return work that failed lately and was not done since."""
    jobs = access.visible(Job, person).filter(bench=bench)
    same = Q(session=OuterRef("session")) | Q(session__isnull=True, what=OuterRef("what"))
    since = jobs.filter(same, state=Job.State.DONE, asked_at__gt=OuterRef("asked_at"))
    failed = jobs.filter(state=Job.State.FAILED, finished_at__gt=timezone.now() - LATELY)
    return failed.exclude(Exists(since)).select_related("session")


def _unanswered(bench: Bench, person: Person) -> QuerySet[Finding]:
    """Return severe findings of the newest reductions that no review answers yet."""
    reviews = access.visible(Review, person).filter(bench=bench)
    answered = {key for answers in reviews.values_list("answers", flat=True) for key in answers}
    newest = access.visible(Finding, person).filter(
        reduction__session__bench=bench, reduction__superseded_by__isnull=True, severity="severe"
    )
    return newest.exclude(pk__in=answered).select_related("reduction__session")


def _due_instruments(bench: Bench, person: Person) -> QuerySet[Instrument]:
    """Return instruments whose newest calibration is due within a month or overdue."""
    newest = access.visible(CalibrationRecord, person).filter(instrument=OuterRef("pk")).order_by("-valid_from")
    instruments = access.visible(Instrument, person).filter(bench=bench)
    dated = instruments.annotate(due_on=Subquery(newest.values("due_on")[:1]))
    return dated.filter(due_on__lte=timezone.localdate() + SOON).order_by("due_on")


@login_required
@require_POST
def choose(request: BenchRequest, bench_id: str) -> HttpResponse:
    """Work at another of one's benches."""
    request.session[BENCH_IN_SESSION] = str(access.fetch(Bench, bench_id, person=request.user).pk)
    return redirect("bench-home")


@login_required
@require_POST
def open_bench(request: BenchRequest) -> HttpResponse:
    """Open a bench of one's own."""
    form = BenchForm(request.POST)
    if not form.is_valid():
        return render(
            request, "units/bench_home.html", {"benches": access.visible(Bench, request.user), "form": form}, status=422
        )
    bench = people_actions.open_bench(**form.cleaned_data, by=request.user)
    request.session[BENCH_IN_SESSION] = str(bench.pk)
    return redirect("bench-home")
