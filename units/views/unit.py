"""One unit as a reader sees it: what it is, how it was obtained, claims beside measurements, points, charts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.session import SeasonFigure
from tests_app.actions import reference
from tests_app.models import Reduction, Session
from units import access
from units.chart_files import asked_file
from units.charts import bench as bench_charts
from units.claims import listed, verdict_on
from units.compare.comparison import compare
from units.compare.points import PointRow, UnitRow, published_in
from units.compare.season import Choice, procedure_figures_of, season_of
from units.models import Change, Claim, Unit
from units.pooled import PooledFigure, headline
from units.quantities import NOT_MEASURED, Display, cooling, cop, display_of, eer, electric, scaled, with_uncertainty
from units.views.compare import places, query_of, season_form

MOST_CHANGES = 50
BY_PROCEDURE = "by the procedure of its name, from this unit's points"
POOLED: dict[str, Callable[[PooledFigure], tuple[float | None, float | None]]] = {
    "capacity": lambda figure: (figure.capacity_w, figure.capacity_u95_w),
    "eer": lambda figure: (figure.eer, figure.eer_u95),
    "cop": lambda figure: (scaled(figure.eer, 1 / BTU_PER_H_PER_W), scaled(figure.eer_u95, 1 / BTU_PER_H_PER_W)),
}
CHARTS = (
    "capacity-outdoor", "eer-outdoor", "capacity-room", "eer-room", "capacity-wet-bulb", "eer-wet-bulb", "ratio",
    "eer-load", "shortfall",
)  # fmt: skip


@dataclass(frozen=True)
class Beside:
    """One claim and what was measured beside it, in words."""

    claim: Claim
    claimed: str
    measured: str
    how: str
    verdict: dict[str, Any] | None
    judged_by: str


@require_safe
def show(request: HttpRequest, unit_id: UUID) -> HttpResponse:
    """Show what is claimed and measured of a unit."""
    unit = access.fetch_readable_unit(unit_id, person=request.user)
    display = display_of(request)
    season, asks_season = Choice.from_query(request.GET, display), "climate" in request.GET
    comparison = compare(request.user, [unit_id], display=display, season=season)
    if not comparison.rows:
        raise Http404("No such unit here.")
    row, figure = comparison.rows[0], comparison.figures[unit_id]
    seasons = procedure_figures_of(row)
    context = {
        "unit": unit,
        "row": row,
        "tags": unit.tags.all(),
        "claims": [_beside(row, claim, figure, seasons, display) for claim in listed(row.unit)],
        **_headline(figure),
        "points": sorted(row.points, key=lambda point: (point.outdoor_temp_c is None, point.outdoor_temp_c)),
        "sessions": access.visible(Session, request.user).filter(unit=unit),
        "changes": access.visible(Change, request.user).filter(unit=unit).select_related("changed_by")[:MOST_CHANGES],
        "levels": _levels(request, unit_id),
        "repeats": _repeats(unit, display) if row.own else [],
        "editions": published_in([unit_id]),
        "places": places(request, comparison, CHARTS),
        "chart_query": query_of(comparison),
        "season": season_form(comparison),
        **_seasons(row, season, seasons, asks=asks_season),
        "may_edit": access.may(unit.bench, request.user, "edit"),
        "is_synthetic": unit.is_synthetic,
    }
    drawn = [repeat["drawn"] for repeat in context["repeats"]]
    return asked_file(request, drawn) or render(request, "units/unit.html", context)


def _seasons(row: UnitRow, season: Choice, published: Sequence[SeasonFigure], *, asks: bool) -> dict[str, Any]:
    """Return the reader's own season, where one is asked for, and those by published procedures."""
    own = season_of(row, season) if asks else None
    return {"asks_season": asks, "own_season": own, "published_seasons": published}


def _headline(figure: PooledFigure | None) -> dict[str, Any]:
    if figure is None:
        return {"headline": None}
    return {"headline": figure, "headline_basis": basis_of(figure), "headline_cop": POOLED["cop"](figure)}


def _beside(
    row: UnitRow, claim: Claim, figure: PooledFigure | None, seasons: Sequence[SeasonFigure], display: Display
) -> Beside:
    """Set a claim beside what was measured of it: the unit's one figure at the claim's condition, else the verdict's.

    A seasonal claim stands beside the figure by the same procedure. What a heat balance does not give was not measured.
    """
    write = _writer(claim.quantity, display)
    season = next((each for each in seasons if each.name == claim.quantity.upper()), None)
    if season is not None:
        return Beside(claim, write(claim.value_si, None), write(season.value, season.u95), BY_PROCEDURE, None, "")
    verdict, point = _verdict(row, claim)
    measured, how = NOT_MEASURED, ""
    leads = row.claims.get(claim.quantity) == claim
    if figure is not None and leads and claim.quantity in POOLED:
        measured, how = write(*POOLED[claim.quantity](figure)), basis_of(figure)
    elif verdict is not None:
        factor = verdict["claimed"] / claim.value_si
        measured, how = write(verdict["measured"] / factor, verdict["measured_u95"] / factor), f"by {point.title}"
    elif claim.quantity == "power" and (head := headline(row.points, row.rating)):
        measured, how = write(head.power_w, head.power_u95_w), f"as tested, {head.title}"
    by = point.title if point is not None and figure is not None and figure.n_points > 1 else ""
    return Beside(claim, write(claim.value_si, None), measured, how, verdict, by)


def basis_of(figure: PooledFigure) -> str:
    """Say where a pooled figure holds and of how many points it is."""
    of_many = f", mean of {figure.n_points} points" if figure.n_points > 1 else ""
    return f"{'; '.join(figure.bases)}{of_many}"


def _verdict(row: UnitRow, claim: Claim) -> tuple[dict[str, Any] | None, PointRow | None]:
    """Return the verdict on this very claim with its point: of the headline point, else of the best known that has one.

    A quantity may be claimed more than once, on different bases.
    """
    head = headline(row.points, row.rating)
    others = sorted((point for point in row.points if point is not head), key=lambda point: point.capacity_u95_w)
    for point in [head, *others] if head else others:
        if found := verdict_on(claim.quantity, claim.value_si, point.detail.get("verdicts") or []):
            return found, point
    return None, None


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


def _repeats(unit: Unit, display: Display) -> list[dict[str, Any]]:
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
                    "drawn": bench_charts.control(
                        [(point.start, point.label, point.capacity_w, point.capacity_u95_w) for point in members],
                        each.control,
                        display,
                        len(found) + 1,
                    ),
                }
            )
    return found
