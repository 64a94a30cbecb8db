"""An edition's page, written from its document and from nothing else, once, when it is published."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from reduction.ground.constants import BTU_PER_H_PER_W
from units.claims import verdict_on
from units.editions import prose
from units.editions.figures import FIGURES, Reference
from units.editions.structured import linked_data
from units.editions.style import PLACE, dressed
from units.editions.words import CAUTIONS, TIES

ORIGIN = "@@origin@@"  # the site's address, put in when the page is served: a frozen page survives a move
STANDING = "<!--standing-->"  # where the site says, when the page is served, that an edition is no longer the last
MEASURED = {"capacity": "capacity", "power": "power", "eer": "eer", "cop": "cop"}  # claim to figure; others are not
AIR_FLOW = "indoor air flow"  # the cross-check that says what the claim of an air flow is set beside
AS = {"capacity": "net capacity", "eer": "EER", "power": "power"}  # beside a claim on another basis
CHOSEN = {
    None: "Nobody chose a rule before the data, so the usual one was taken.",
    True: "This was chosen before the run.",
    False: "This was chosen after the run, before its log files came in.",
}
JUDGED = ("meets", "meets within tolerance", "falls short", "cannot tell")

Document = dict[str, Any]


def page_of(document: Document, *, sha256: str, draft: bool = False) -> str:
    """Return the whole page as HTML."""
    return dressed(render_to_string("units/published/edition.html", context_of(document, sha256, draft=draft)))


def context_of(document: Document, sha256: str, *, draft: bool = False) -> dict[str, Any]:
    """Return what the page's template reads."""
    address = f"{ORIGIN}/published/{document['slug']}/"
    body, shown = body_of(document, draft=draft)
    return {
        "d": document,
        "sha256": sha256,
        "draft": draft,
        "style": PLACE,
        "static": settings.STATIC_URL,
        "address": address,
        "numbered": f"{address}{document['number']}/",
        "body": body,
        "tables_in_text": {name.removeprefix("table ") for name in shown if name.startswith("table ")},
        "charts": [chart for chart in document["charts"] if chart["name"] not in shown],
        "units": [unit_view(unit, document) for unit in document["units"]],
        "points": sorted(document["points"].items(), key=lambda item: int(item[0][1:])),
        "rules": rules_of(document),
        "cautions": CAUTIONS,
        "linked_data": linked_data(document, sha256, address),
        "is_synthetic": document["synthetic"],
    }


@dataclass(frozen=True)
class Judged:
    """Sessions whose claims were judged by one rule that was chosen alike."""

    rule: str
    chosen: str
    keys: list[str]


def rules_of(document: Document) -> list[Judged]:
    """Return each decision rule with how it was chosen and the sessions that it judged, as few lines as say it."""
    found: dict[tuple[str, str], list[str]] = {}
    for key, session in document["sessions"].items():
        starts = [point["start"] for point in document["points"].values() if point["session"] == key]
        rule, chosen_at = session["decision"]["rule"], session["decision"]["chosen_at"]
        chosen = CHOSEN[chosen_at and _instant(chosen_at) <= min(map(_instant, starts))]
        found.setdefault((rule, chosen), []).append(key)
    return [Judged(rule, chosen, keys) for (rule, chosen), keys in found.items()]


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def unit_view(unit: Document, document: Document) -> Document:
    """Return a unit with its points, its ties in words, its headline point and its claims beside what was measured."""
    points = {key: point for key, point in document["points"].items() if point["unit"] == unit["key"]}
    judged = [key for key, point in points.items() if _capacity_verdict(point)]
    key = min(judged or points, key=lambda name: _doubt(points[name]), default=None)
    point = points.get(key)
    return unit | {
        "ties": TIES.get(unit["obtained"], ""),
        "headline_key": key,
        "headline": point,
        "verdict": _capacity_verdict(point) if point else None,
        "beside": [_beside(claim, point) for claim in unit["claims"]],
    }


def _doubt(point: Document) -> tuple[bool, float]:
    """Order points by what they tell: a total capacity before the sensible part, then the better known."""
    relative = point["capacity_u95_w"] / abs(point["capacity_w"]) if point["capacity_w"] else float("inf")
    return point["capacity_kind"] == "sensible", relative


def _capacity_verdict(point: Document) -> Document | None:
    return next((one for one in point["verdicts"] if one["quantity"] == "capacity" and one["words"] in JUDGED), None)


def _beside(claim: Document, point: Document | None) -> Document:
    """Return a claim with its verdict, or with the figure as tested where there is none to be had."""
    judged = MEASURED.get(claim["quantity"])
    verdict = verdict_on(claim["quantity"], claim["value_si"], point["verdicts"] if point else [])
    if verdict and claim["quantity"] == "cop":
        verdict = verdict | {name: verdict[name] / BTU_PER_H_PER_W for name in ("measured", "measured_u95")}
        verdict["quantity_unit"] = "W/W"
    as_tested = FIGURES[judged][1](point) if point and judged and verdict is None else ""
    checks = point["cross_checks"] if point else []
    inferred = next((one for one in checks if one["name"] == AIR_FLOW and one["value"] is not None), None)
    another = verdict is not None and claim["quantity"] not in MEASURED
    return claim | {
        "verdict": verdict,
        "as_tested": as_tested,
        "inferred": inferred if claim["quantity"] == "air_flow" else None,
        "measured_as": AS[verdict["quantity"]] if another else "",
    }


def body_of(document: Document, *, draft: bool = False) -> tuple[str, set[str]]:
    """Return the text as HTML with its figures, charts and tables set in, and which of these stand in it."""
    charts = {chart["name"]: chart for chart in document["charts"]}
    shown: set[str] = set()

    def put(reference: Reference, alone: bool) -> str | None:
        if reference.kind == "figure":
            said = document["figures"].get(reference.written)
            return (
                render_to_string("units/published/_figure.html", {"r": reference, "said": said}).strip()
                if said
                else None
            )
        if not alone:
            return None
        if reference.kind == "chart" and reference.rest in charts:
            shown.add(reference.rest)
            context = {"chart": charts[reference.rest], "numbered": _numbered(document), "draft": draft}
            return render_to_string("units/published/_chart.html", context)
        if reference.kind == "table" and reference.rest in ("points", "claims"):
            shown.add(f"table {reference.rest}")
            return _table(reference.rest, document)
        return None

    return prose.rendered(document["body"], put), shown


def _table(name: str, document: Document) -> str:
    points = sorted(document["points"].items(), key=lambda item: int(item[0][1:]))
    units = [unit_view(unit, document) for unit in document["units"]]
    return render_to_string(f"units/published/_{name}.html", {"points": points, "units": units})


def _numbered(document: Document) -> str:
    return f"{ORIGIN}/published/{document['slug']}/{document['number']}/"
