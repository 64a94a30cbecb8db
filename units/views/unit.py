"""One unit as a reader sees it: what it is, how it was obtained, claims beside measurements, points, charts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from reduction.ground.constants import eer_from_cop
from reduction.judge.verdict import QUANTITY
from tests_app.actions import reference
from tests_app.models import Reduction, Session
from units import access
from units.charts import bench as bench_charts
from units.compare.comparison import compare
from units.compare.frames import headline
from units.compare.points import PointRow, UnitRow, published_in
from units.compare.season import Choice, season_of
from units.models import Change, Claim, Unit
from units.pooled import is_near, rating_among
from units.quantities import Display, cooling, cop, display_of, eer, electric, with_uncertainty
from units.views.compare import places, query_of, season_form

MOST_CHANGES = 50
MEASURED = ("capacity", "eer", "power", "cop")
CHARTS = ("capacity-outdoor", "eer-outdoor", "capacity-room", "eer-room", "ratio", "eer-load", "shortfall")


@dataclass(frozen=True)
class Beside:
    """One claim and what was measured beside it, in words."""

    claim: Claim
    claimed: str
    measured: str
    how: str
    verdict: dict[str, Any] | None


@require_safe
def show(request: HttpRequest, unit_id: UUID) -> HttpResponse:
    """Show what is claimed and measured of a unit."""
    unit = access.fetch_readable_unit(unit_id, person=request.user)
    display = display_of(request)
    season, asks_season = Choice.from_query(request.GET, display), "climate" in request.GET
    comparison = compare(request.user, [unit_id], display=display, season=season)
    if not comparison.rows:
        raise Http404("No such unit here.")
    row = comparison.rows[0]
    sessions = access.visible(Session, request.user).filter(unit=unit)
    context = {
        "unit": unit,
        "row": row,
        "tags": unit.tags.all(),
        "claims": [_beside(row, claim, display) for claim in unit.claims.all()],
        "headline": headline(row),
        "points": sorted(row.points, key=lambda point: (point.outdoor_temp_c is None, point.outdoor_temp_c)),
        "sessions": sessions,
        "changes": access.visible(Change, request.user).filter(unit=unit).select_related("changed_by")[:MOST_CHANGES],
        "levels": _levels(request, unit_id),
        "repeats": _repeats(unit) if row.own else [],
        "editions": published_in([unit_id]),
        "places": places(request, comparison, CHARTS),
        "chart_query": query_of(comparison),
        "season": season_form(comparison),
        "own_season": season_of(row, season) if asks_season else None,
        "asks_season": asks_season,
        "may_edit": access.may(unit.bench, request.user, "edit"),
        "is_synthetic": unit.is_synthetic,
    }
    return render(request, "units/unit.html", context)


def _beside(row: UnitRow, claim: Claim, display: Display) -> Beside:
    """Set a claim beside the headline point's figure of the same quantity; other claims were not measured."""
    write = _writer(claim.quantity, display)
    point = headline(row)
    measured, how, verdict = "not measured", "", None
    if point is not None and claim.quantity in MEASURED:
        measured, how = _measured(row, claim.quantity, point, display)
    if point is not None:
        verdict = _verdict(point, claim)
    return Beside(claim, write(claim.value_si, None), measured, how, verdict)


def _verdict(point: PointRow, claim: Claim) -> dict[str, Any] | None:
    """Return the verdict on this very claim: a quantity may be claimed more than once, on different bases."""
    stated = eer_from_cop(claim.value_si) if claim.quantity == "cop" else claim.value_si
    about = QUANTITY.get(claim.quantity)
    judged = [
        found
        for found in point.detail.get("verdicts") or []
        if found["quantity"] == about and math.isclose(found["claimed"], stated, rel_tol=1e-6)
    ]
    return next(iter(judged), None)


def _measured(row: UnitRow, quantity: str, point: PointRow, display: Display) -> tuple[str, str]:
    rated = rating_among(point.ratings, row.rating)
    write = _writer(quantity, display)
    fields = {"capacity": ("capacity_w", "capacity_u95_w"), "power": ("power_w", "power_u95_w"),
              "eer": ("eer_btu_per_wh", "eer_u95"), "cop": ("cop", "cop_u95")}[quantity]  # fmt: skip
    if rated is not None and quantity != "cop":
        return write(rated[fields[0]], rated[fields[1]]), f"corrected to {rated['condition']}"
    near = is_near(point.room_temp_c, point.outdoor_temp_c, row.rating)
    return write(getattr(point, fields[0]), getattr(point, fields[1])), (
        "tested at the rating condition" if near else "as tested, not at the claim's condition"
    )


def _writer(quantity: str, display: Display) -> Any:
    units = {"sound": "dB(A)", "air_flow": "m³/h", "current": "A", "moisture_removal": "kg/h"}
    if quantity in ("capacity", "sacc"):
        return lambda value, u95: cooling(value, u95, display)
    if quantity in units:
        return lambda value, u95: with_uncertainty(value, u95, units[quantity])
    return {"power": electric, "cop": cop}.get(quantity, eer)


def _levels(request: HttpRequest, unit_id: UUID) -> list[dict[str, Any]]:
    """Return the plateaus of unit power that the bench's newest reductions found."""
    reductions = access.visible(Reduction, request.user).filter(session__unit=unit_id).current()
    found = reductions.values_list("session__name", "session_id", "result__levels")
    return [{"session": name, "session_id": key, **level} for name, key, levels in found for level in levels or []]


def _repeats(unit: Unit) -> list[dict[str, Any]]:
    """Return the sets of repeats on the bench with mean, spread and, from three runs on, a control chart."""
    found = []
    for kind in ("total", "sensible"):
        points = [point for point in reference.runs_of(unit) if point.capacity_kind == kind]
        for each in reference.repeats(points):
            members = [points[n] for n in each.members]
            found.append(
                {
                    "kind": kind,
                    "first": members[0],
                    "set": each,
                    "rows": list(zip(members, each.control.low, each.control.high, each.control.outside, strict=True)),
                    "picture": bench_charts.control(
                        [point.start for point in members],
                        [point.capacity_w for point in members],
                        [point.capacity_u95_w for point in members],
                        each.control,
                    ),
                }
            )
    return found
