"""Exports: asked for as a task, handed out when they are made."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from tests_app.models import Job
from units import access
from units.actions import exports
from units.editions.serve import origin_of
from units.middleware import BenchRequest
from units.models import Bench, Edition

NEEDS: dict[str, access.Intent] = {"archive": "own", "points": "edit", "edition": "edit"}


@access.at_bench()
@require_POST
def begin(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Ask for an export of the bench of work, and go to its progress."""
    kind = request.POST.get("kind", "")
    if kind not in NEEDS:
        raise Http404("No such export.")
    bench = access.fetch(Bench, bench.pk, person=request.user, to=NEEDS[kind])
    edition = None
    if kind == "edition":
        edition = access.fetch(Edition, request.POST.get("edition", ""), person=request.user, to="edit")
        bench = edition.review.bench
    job = exports.begin(bench=bench, kind=kind, edition=edition, origin=origin_of(request), by=request.user)
    return redirect("job", job.pk)


@require_safe
@login_required
def file(request: BenchRequest, job_id: UUID) -> FileResponse:
    """Hand out what was made, to who might have asked for it."""
    job = access.fetch(Job, job_id, person=request.user)
    if job.what != exports.EXPORT or job.state != Job.State.DONE:
        raise Http404("No such export here.")
    access.fetch(Bench, job.bench_id, person=request.user, to=NEEDS[job.detail["kind"]])
    if not default_storage.exists(job.detail["stored_as"]):
        raise Http404("It is not kept any more.")
    stored = default_storage.open(job.detail["stored_as"])
    response = FileResponse(
        stored, as_attachment=True, filename=job.detail["name"], content_type="application/octet-stream"
    )
    response["Cache-Control"] = "private, no-store"
    return response
