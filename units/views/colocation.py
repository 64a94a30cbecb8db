"""The guided check of sensors that hung together: from a session to calibration records."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from reduction.errors import ReductionError
from tests_app.actions import colocation as check
from tests_app.models import Session
from units import access
from units.actions import instruments as actions
from units.chart_files import asked_file
from units.charts import bench as charts
from units.forms.colocation import ColocationForm
from units.middleware import BenchRequest
from units.models import Bench, Instrument
from units.quantities import Display, display_of

A_FEW = 40


@access.at_bench()
def show(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Choose a session and a span, see the offsets; posted, take the ticked ones over as calibrations."""
    data = request.POST if request.method == "POST" else request.GET
    mine = access.visible(Session, request.user).filter(bench=bench, files__isnull=False).distinct()
    bundles_first = sorted(mine[:A_FEW], key=lambda session: session.purpose != "side_by_side")
    context: dict[str, Any] = {"sessions": bundles_first, "may_edit": access.may(bench, request.user, "edit")}
    if not data.get("session"):
        return render(request, "units/colocation.html", context)
    session = access.fetch(Session, data["session"], person=request.user, to="edit" if data is request.POST else "read")
    context |= {"session": session, "is_synthetic": session.is_synthetic}
    try:
        with timezone.override(session.time_zone):
            context |= _checked(session, data, display_of(request))
    except ReductionError as error:
        context["refusal"] = str(error)
    if request.method == "POST" and context.get("found"):
        return _adopted(request, session, context)
    if file := asked_file(request, [context.get("picture")]):
        return file
    return render(request, "units/colocation.html", context)


def _checked(session: Session, data: Any, display: Display) -> dict[str, Any]:
    """Return the form, and the check where the form says enough."""
    timeline, known = check.timeline_of(session)
    form = ColocationForm(data, timeline=timeline, zone=session.time_zone)
    if not form.is_valid():
        return {"form": form}
    try:
        found = check.check(timeline, known, **form.cleaned_data)
    except ReductionError as error:
        return {"form": form, "refusal": str(error)}
    of = check.instruments_of(session)
    rows = [(each, of.get(each.instrument.id) if each.instrument else None) for each in found.offsets]
    return {
        "form": form,
        "found": found,
        "day": timezone.localtime(form.cleaned_data["start"]).date(),
        "rows": rows,
        "picture": charts.offsets(found, display),
    }


def _adopted(request: BenchRequest, session: Session, context: dict[str, Any]) -> HttpResponse:
    chosen = set(request.POST.getlist("instrument"))
    offsets: dict[Instrument, Any] = {
        instrument: each
        for each, instrument in context["rows"]
        if instrument is not None and str(instrument.pk) in chosen and not each.shared
    }
    if not offsets:
        messages.error(request, "Tick at least one instrument.")
        return render(request, "units/colocation.html", context | {"picture": None}, status=422)
    how = f"side-by-side soak against {context['found'].reference}, session “{session.name}”"
    actions.adopt_offsets(offsets=offsets, valid_from=context["day"], how=how, by=request.user)
    messages.success(
        request,
        f"{len(offsets)} calibration{'s'[: len(offsets) != 1]} written down, valid from {context['day']:%-d %B %Y}. "
        "Results from that day on can be reduced again.",
    )
    return redirect("rereductions")
