"""Progress of long work."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from tests_app import tasks
from tests_app.actions import jobs
from tests_app.models import Job
from units import access


@login_required
@require_safe
def show(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Show how far a job is; when it is done, go to what it made."""
    job = access.fetch(Job, job_id, person=request.user)
    if job.is_open and jobs.is_lost(job):
        tasks.recover()
        job = access.fetch(Job, job_id, person=request.user)
    if job.state == Job.State.DONE and job.session_id:
        address = redirect("result", job.session_id)
        return HttpResponseClientRedirect(address.url) if request.htmx else address
    template = "tests_app/_job.html" if request.htmx else "tests_app/job.html"
    context = {"job": job, "is_open": job.is_open, "may_edit": access.may(job.bench, request.user, "edit")}
    return render(request, template, context)


@login_required
@require_POST
def cancel(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Stop a job that waits or runs."""
    job = access.fetch(Job, job_id, person=request.user, to="edit")
    jobs.cancel(job=job, by=request.user)
    return redirect("job", job.pk)
