"""Progress of long work."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django_htmx.http import HttpResponseClientRedirect

from tests_app.models import Job
from units import access


@login_required
def show(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """Show how far a job is; when it is done, go to what it made."""
    job = access.fetch(Job, job_id, person=request.user)
    if job.state == Job.State.DONE and job.session_id:
        address = redirect("result", job.session_id)
        return HttpResponseClientRedirect(address.url) if request.htmx else address
    template = "tests_app/_job.html" if request.htmx else "tests_app/job.html"
    return render(request, template, {"job": job, "is_open": job.state in {Job.State.WAITING, Job.State.RUNNING}})
