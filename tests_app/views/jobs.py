"""Progress of long work."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from tests_app import tasks
from tests_app.actions import jobs
from tests_app.models import Job
from units import access

PAGES = {"rereduction": "rereduction", "look": "arrival", "arrival": "arrival"}  # work that has a page of its own


@login_required
@require_safe
def show(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Show how far a job is; when it is done, go to what it made."""
    job = _fetched(request, job_id)
    if job.is_open and jobs.is_lost(job):
        tasks.recover()
        job = _fetched(request, job_id)
    if address := _what_it_made(job):
        return HttpResponseClientRedirect(address) if request.htmx else redirect(address)
    template = "tests_app/_job.html" if request.htmx else "tests_app/job.html"
    context = {
        "job": job,
        "is_open": job.is_open,
        "may_edit": job.bench is None or access.may(job.bench, request.user, "edit"),
    }
    return render(request, template, context)


def _fetched(request: HttpRequest, job_id: UUID, to: access.Intent = "read") -> Job:
    """Return a job of a bench, or one of the person's own that is of no bench yet."""
    try:
        return access.fetch_own(Job, job_id, person=request.user)
    except Http404:
        return access.fetch(Job, job_id, person=request.user, to=to)


def _what_it_made(job: Job) -> str:
    """Return the address of what a job made, once it is done; empty where its own page says it."""
    if job.what in PAGES:
        return reverse(PAGES[job.what], args=[job.pk])
    return reverse("result", args=[job.session_id]) if job.state == Job.State.DONE and job.session_id else ""


@login_required
@require_POST
def cancel(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Stop a job that waits or runs."""
    job = _fetched(request, job_id, to="edit")
    jobs.cancel(job=job, by=request.user)
    return redirect("job", job.pk)
