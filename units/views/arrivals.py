"""A bench comes in at a page: its archive is sent, looked at, shown, and on a person's word brought in."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from reduction.errors import ReductionError
from tests_app import tasks
from tests_app.actions import jobs
from tests_app.models import Job
from units import access, problems
from units.actions import arrivals
from units.forms.arrival import ArchiveForm, BringInForm

COUNTED = (
    ("Unit", "units"),
    ("Room", "rooms"),
    ("Instrument", "instruments"),
    ("Session", "sessions"),
    ("Reduction", "reductions"),
    ("Point", "points"),
    ("Review", "reviews"),
    ("Edition", "published editions"),
)


@login_required
def new(request: HttpRequest) -> HttpResponse:
    """Take an archive from anybody who is signed in, and go to where it is looked at."""
    form = ArchiveForm(request.POST, request.FILES) if request.method == "POST" else ArchiveForm()
    if form.is_valid():
        try:
            job = arrivals.begin(file=form.cleaned_data["file"], by=request.user)
        except ReductionError as error:
            problems.as_form_error(form, error, field="file")
        else:
            return redirect("arrival", job.pk)
    return render(request, "units/arrival_new.html", {"form": form}, status=422 if form.errors else 200)


@login_required
def show(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Show how far the work is, what the archive holds, or the bench that came in; posted, bring it in."""
    job = _own(request, job_id)
    holds = job.detail.get("holds", {})
    may_come = job.what == arrivals.LOOK and job.state == Job.State.DONE and not holds["clashes"]
    form = None
    if may_come:
        given = request.POST if request.method == "POST" else None
        form = BringInForm(given, people=holds["people"], username=request.user.get_username())
    if request.method == "POST":
        if form is None or not form.is_valid():
            raise Http404("Nothing to bring in.")
        return redirect("arrival", arrivals.bring_in(job=job, **form.cleaned_data, by=request.user).pk)
    context = {
        "job": job,
        "is_open": job.is_open,
        "address": request.path,
        "may_edit": True,
        "holds": holds,
        "is_synthetic": holds.get("synthetic", False),
        "counts": [(noun, holds.get("counts", {}).get(kind, 0)) for kind, noun in COUNTED],
        "form": form,
        "is_arrival": job.what == arrivals.ARRIVAL,
    }
    return render(request, "units/_arrival.html" if request.htmx else "units/arrival.html", context)


def _own(request: HttpRequest, job_id: UUID) -> Job:
    """Return the person's own task as it stands; one that got lost is handed over again first."""
    job = _fetched(request, job_id)
    if job.is_open and jobs.is_lost(job):
        tasks.recover()
        job = _fetched(request, job_id)
    return job


def _fetched(request: HttpRequest, job_id: UUID) -> Job:
    """Return the task where it is the person's, and one of a bench that comes in."""
    try:
        job = access.fetch_own(Job, job_id, person=request.user)
    except Http404:
        job = access.fetch(Job, job_id, person=request.user, to="own")
    if job.what not in {arrivals.LOOK, arrivals.ARRIVAL}:
        raise Http404("No such task here.")
    return job


@login_required
@require_POST
def drop(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Throw the archive away without bringing it in."""
    job = access.fetch_own(Job, job_id, person=request.user)
    if job.what != arrivals.LOOK:
        raise Http404("No such task here.")
    arrivals.drop(job=job, by=request.user)
    messages.success(request, f"“{job.detail['name']}” is thrown away; nothing of it was kept.")
    return redirect("arrival-new")
