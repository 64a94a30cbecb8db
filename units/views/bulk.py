"""A list of units in one go: look at it as understood, mend it, keep it; and take the list out again."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from reduction.errors import ReductionError
from units import access, bulk, bulk_written
from units.actions import units as actions
from units.middleware import BenchRequest
from units.models import Bench, Unit
from units.quantities import display_of
from units.workbook import MEDIA_TYPE

FORMS = {
    "csv": (bulk_written.as_csv, "text/csv; charset=utf-8"),
    "xlsx": (bulk_written.as_workbook, MEDIA_TYPE),
}


@access.at_bench(to="edit")
def import_units(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Show what a file says, row by row; keep it when it is sent again and every row is right."""
    context: dict[str, object] = {"columns": [*bulk.UNIT_COLUMNS, bulk.AIR_FLOW, *bulk.CLAIM_COLUMNS]}
    status = 200
    if request.method == "POST":
        try:
            text = _text(request)
            context |= {"rows": bulk.understood(_rows(request, text), bench, display_of(request)), "text": text}
        except ReductionError as error:
            context["problem"], status = str(error), 422
    rows = context.get("rows", [])
    wrong = [row for row in rows if row.errors]
    if rows and not wrong and "keep" in request.POST:
        return _kept(request, bench, rows)
    context |= {"wrong": wrong, "bench_of_thing": bench}
    return render(request, "units/unit_import.html", context, status=422 if wrong else status)


def _text(request: BenchRequest) -> str:
    """Return the list as text: a workbook is shown as CSV, so that it can be mended on the page."""
    file = request.FILES.get("file")
    return bulk.as_text(file.name, file.read()) if file else request.POST.get("text", "")


def _rows(request: BenchRequest, text: str) -> list[dict[str, str]]:
    file = request.FILES.get("file")
    return bulk.table_of(file.name if file else "the list", text)


def _kept(request: BenchRequest, bench: Bench, rows: list[bulk.Row]) -> HttpResponse:
    made = actions.record_many(rows=rows, bench=bench, by=request.user)
    messages.success(request, f"{len(made)} unit{'' if len(made) == 1 else 's'} kept.")
    return redirect("units")


@require_safe
@access.at_bench()
def export_units(request: BenchRequest, bench: Bench, form: str) -> HttpResponse:
    """Hand out the bench's units and claims as the same table, as CSV or as a workbook."""
    units = access.visible(Unit, request.user).filter(bench=bench).prefetch_related("claims", "tags")
    make, media_type = FORMS[form]
    response = HttpResponse(make(units), content_type=media_type)
    name = f"units-{bench.slug}-{timezone.localdate():%Y-%m-%d}.{form}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
