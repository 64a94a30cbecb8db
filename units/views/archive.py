"""A bench to take along, and its deletion with time to think."""

from __future__ import annotations

import tempfile

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from tests_app.models import Job
from units import access
from units.actions import benches, exports
from units.archive import write
from units.middleware import BenchRequest
from units.models import Bench, Edition

IN_MEMORY = 8 * 1024 * 1024
A_FEW = 8


@require_safe
@access.at_bench(to="own")
def show(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Show how to take the bench along, and how to delete it."""
    published = access.visible(Edition, request.user).filter(review__bench=bench, superseded_by__isnull=True)
    context = {"published": published.select_related("review"), "grace": benches.GRACE.days}
    made = access.visible(Job, request.user).filter(bench=bench, what=exports.EXPORT)
    context |= {"exports": made[:A_FEW], "kept_days": exports.KEPT_FOR.days}
    return render(request, "units/bench_archive.html", context)


@access.at_bench(to="own")
@require_POST
def download(request: BenchRequest, bench: Bench) -> FileResponse:
    """Hand out the archive."""
    file = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115  the response closes it
    write.write(bench, file)
    file.seek(0)
    name = f"{bench.slug}-{timezone.localdate():%Y-%m-%d}.bench.zip"
    return FileResponse(file, as_attachment=True, filename=name, content_type="application/zip")


@access.at_bench(to="own")
@require_POST
def delete(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Mark the bench for deletion, or keep it after all."""
    if request.POST.get("verb") == "keep":
        benches.keep(bench=bench, by=request.user)
        messages.success(request, "The bench stays.")
        return redirect("bench-archive")
    try:
        bench = benches.delete_later(bench=bench, typed_name=request.POST.get("name", ""), by=request.user)
        messages.warning(request, f"The bench will be deleted after {bench.delete_after:%-d %B %Y}.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("bench-archive")
