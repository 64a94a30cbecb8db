"""A plan for a test: heat, circuits, time, expected ±, freezing, and a checklist to print."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from reduction.errors import ReductionError
from reduction.ground.constants import SECONDS_PER_HOUR, eer_from_cop
from reduction.planning.plan import plan_test
from reduction.planning.plan_report import STEPS
from reduction.planning.plan_request import Plan, PlanRequest
from units import access
from units.forms.plan import METERS, PlanForms
from units.middleware import BenchRequest
from units.models import Instrument, Room, Unit
from units.problems import as_form_error
from units.quantities import display_of

SHARE_BAR_REM = 8.0
MOST_LINES = 6


@require_safe
def show(request: BenchRequest) -> HttpResponse:
    """Plan what the address asks for; with htmx only the plan, first without what each improvement would buy."""
    forms = PlanForms(request.GET, rows=_rows(request), display=display_of(request))
    part = bool(request.htmx) and not request.htmx.history_restore_request
    buys = not part or request.htmx.target == "buys"
    context: dict[str, Any] = {"forms": forms, "plan": None, "buys": buys, "part": part}
    if forms.is_valid():
        try:
            asked = forms.request(timezone.localdate())
            context |= _planned(asked, plan_test(asked, improvements=buys)) | {"stops": _stops(forms)}
        except ReductionError as error:
            as_form_error(forms.form, error)
    template = "units/_plan_buys.html" if part and buys else "units/_plan.html" if part else "units/plan.html"
    status = 200 if context["plan"] or part or not request.GET else 422
    response = render(request, template, context, status=status)
    patch_vary_headers(response, ["HX-Request", "HX-Target"])
    return response


def _rows(request: BenchRequest) -> dict[str, Any] | None:
    """Return what a person of a bench may choose from; a visitor types."""
    if request.bench is None:
        return None
    bench, person = request.bench, request.user
    instruments = access.visible(Instrument, person).filter(bench=bench)
    return {
        "unit": access.visible(Unit, person).filter(bench=bench),
        "room": access.visible(Room, person).filter(bench=bench),
        **{name: instruments.filter(quantity=quantity) for name, quantity in METERS.items()},
    }


def _planned(asked: PlanRequest, plan: Plan) -> dict[str, Any]:
    """Return the plan as the page lays it out: cautions by step, budgets with bars."""
    by_step = {step: list(lines) for step, lines in groupby(plan.cautions, key=lambda caution: caution.step)}
    return {
        "asked": asked,
        "plan": plan,
        "steps": [(step, title, by_step.get(step, [])) for step, title in STEPS.items()],
        "targets": [
            {
                "plan": target,
                "eer": eer_from_cop(target.capacity_w / target.power_w),
                "hours": target.time_to_steady_s / SECONDS_PER_HOUR,
                "lighter": target.time_to_steady_range_s[0] / SECONDS_PER_HOUR,
                "heavier": target.time_to_steady_range_s[1] / SECONDS_PER_HOUR,
                "window_min": target.window_s / 60,
                "windows": [(each, each.window_s / 60) for each in target.windows],
                "budget": [(line, line.share * SHARE_BAR_REM) for line in target.budget[:MOST_LINES]],
                "improvements": target.improvements[:MOST_LINES],
            }
            for target in plan.targets
        ],
        "water": sum(target.water_kg_per_h for target in plan.targets),
    }


def _stops(forms: PlanForms) -> list[tuple[str, Any, str]]:
    """Return what switches the heaters off, with the limit where it was given: (what, value, kind)."""
    cleaned = forms.form.cleaned_data
    named = [("stop_room_temp_c", "temp"), ("stop_inlet_temp_c", "temp"), ("stop_plug_temp_c", "temp")]
    named.append(("stop_silence_min", "min"))
    return [(str(forms.form.fields[name].label), cleaned[name], kind) for name, kind in named]
