"""Season and cost of a reduction's unit in a climate of the reader's own; nothing is kept."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse

from reduction import session as doc
from reduction.errors import ReductionError
from reduction.season.season_report import season_of_result
from reduction.season.unit_season import OwnSeason
from tests_app.forms.season import SeasonForm
from tests_app.models import Reduction, Session
from tests_app.views.common import fetch_within, page
from units import access, problems
from units.quantities import display_of

ASKED = ("price_per_kwh", "full_load_w", "no_load_c", "full_load_c", "room_wet_bulb_c", "standby_hours")


@login_required
def show(request: HttpRequest, session_id: UUID, reduction_id: UUID) -> HttpResponse:
    """Show the form, and what it comes to once it is filled in; whoever reads the session may ask."""
    session = access.fetch(Session, session_id, person=request.user, to="read")
    reduction = fetch_within(session, Reduction, reduction_id, person=request.user, to="read")
    result = doc.Result.model_validate(reduction.result)
    posted = (request.POST, request.FILES) if request.method == "POST" else ()
    form, own = SeasonForm(*posted, display=display_of(request)), None
    if posted and form.is_valid():
        try:
            own = _season(reduction, result, form.cleaned_data)
        except ReductionError as error:
            problems.as_form_error(form, error)
    context = {"reduction": reduction, "result": result, "form": form, "own": own}
    if own is not None:
        context |= _sum(own) | {"currency": form.cleaned_data["currency"].upper()}
    return page(request, session, "season", **context, status=422 if form.errors else 200)


def _season(reduction: Reduction, result: doc.Result, asked: dict[str, Any]) -> OwnSeason:
    numbers = {name: float(asked[name]) for name in ASKED}
    kind = doc.UnitKind(reduction.document["unit"]["kind"])
    return season_of_result(result, asked["text"], asked["name"], kind=kind, **numbers)


def _sum(own: OwnSeason) -> dict[str, Any]:
    """Return the lines of the cost and their sum, so that it can be checked on paper."""
    cost = own.cost
    lines = [("Cooling", cost.cooling_energy_kwh), ("Standby", cost.standby_energy_kwh)]
    return {"lines": [(name, kwh, kwh * cost.price_per_kwh) for name, kwh in lines]}
