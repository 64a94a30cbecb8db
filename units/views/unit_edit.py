"""A bench's units: list, new, edit."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from units import access
from units.actions import units as actions
from units.forms.unit import ClaimFormSet, UnitForm
from units.middleware import BenchRequest
from units.models import Bench, Unit
from units.quantities import display_of

MORE_ROWS = 3
STANDING = Q(points__usable=True, points__reduction__superseded_by__isnull=True)


@require_safe
@access.at_bench()
def listing(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the units of the bench of work."""
    units = access.visible(Unit, request.user).filter(bench=bench)
    counted = units.annotate(
        session_count=Count("sessions", distinct=True),
        point_count=Count("points", filter=STANDING, distinct=True),
    ).order_by("maker", "model", "created_at", "pk")  # counting drops the model's own order
    context = {"units": counted, "may_edit": access.may(bench, request.user, "edit")}
    return render(request, "units/units.html", context | {"is_synthetic": bench.is_synthetic})


@access.at_bench(to="edit")
def new(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Create a unit with its claims."""
    return _edited(request, Unit(bench=bench), bench)


@login_required
def edit(request: BenchRequest, unit_id: UUID) -> HttpResponse:
    """Change a unit and its claims."""
    unit = access.fetch(Unit, unit_id, person=request.user, to="edit")
    return _edited(request, unit, unit.bench)


def _edited(request: BenchRequest, unit: Unit, bench: Bench) -> HttpResponse:
    data = request.POST.copy() if request.method == "POST" else None
    if data is not None and "more" in data:
        data["claims-TOTAL_FORMS"] = str(min(int(data.get("claims-TOTAL_FORMS", 0)) + MORE_ROWS, 60))
    form = UnitForm(data, instance=unit)
    claims = ClaimFormSet(data, instance=unit, prefix="claims", form_kwargs={"display": display_of(request)})
    if data is not None and "more" not in data and all([form.is_valid(), claims.is_valid()]):
        saved = _save(request, form, claims, bench)
        messages.success(request, f"{saved} is saved.")
        return redirect("unit", saved.pk)
    context: dict[str, Any] = {"form": form, "claims": claims, "unit": unit, "bench_of_unit": bench}
    refused = data is not None and "more" not in data
    return render(request, "units/unit_edit.html", context, status=422 if refused else 200)


def _save(request: BenchRequest, form: UnitForm, claims: Any, bench: Bench) -> Unit:
    unit = form.save(commit=False)
    kept = claims.save(commit=False)
    return actions.record(
        unit=unit,
        bench=bench,
        tags=form.cleaned_data["tag_text"],
        claims=kept,
        dropped_claims=claims.deleted_objects,
        by=request.user,
    )
