"""Units side by side, and every chart of them as a file."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

import pandas as pd
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from units.charts import PICTURES, Drawn, draw
from units.compare.catalogue import shown_to
from units.compare.comparison import RATED, Comparison, compare
from units.compare.frames import names
from units.compare.words import band_label
from units.quantities import display_of
from units.shelf import BANDS

DRAWN_AT_ONCE = 3
FORMS = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8", "json": "application/json"}
OFFERED = 100


def show(request: HttpRequest) -> HttpResponse:
    """Compare the units that the address names; without any, offer some to pick."""
    comparison = _asked(request)
    display = comparison.display
    frames = comparison.frames
    drawn = [picture for name in PICTURES if (picture := draw(name, frames, display))] if comparison.rows else []
    context = {
        "comparison": comparison,
        "units": [{"row": row, "name": names(list(comparison.rows))[row.unit.pk]} for row in comparison.rows],
        "lines": _lines(comparison, frames["units"]),
        "charts": at_once(request, drawn),
        "chart_query": _query(comparison),
        "bases": [(RATED, "corrected to the claim's rating condition"),
                  *((band.key, f"as tested, {band_label(band.key, display)} outdoors") for band in BANDS)],
        "is_synthetic": any(row.unit.is_synthetic for row in comparison.rows),
        "offered": shown_to(request.user).order_by("name")[:OFFERED] if not comparison.rows else [],
    }  # fmt: skip
    return render(request, "units/compare.html", context)


def at_once(request: HttpRequest, drawn: list[Drawn]) -> list[tuple[Drawn, bool]]:
    """Say of each chart whether it is drawn with the page: the first ones, and those that the address shows.

    The others are drawn when they are scrolled to, or by their link where there is no script.
    """
    shown = set(request.GET.getlist("show"))
    return [
        (chart, i < DRAWN_AT_ONCE or chart.picture.name in shown or "all" in shown) for i, chart in enumerate(drawn)
    ]


def chart(request: HttpRequest, name: str, form: str) -> HttpResponse:
    """Hand out one chart of the units that the address names: as a picture, its data, or the interactive one."""
    if name not in PICTURES or form not in {*FORMS, "html"}:
        raise Http404("No such chart.")
    comparison = _asked(request)
    drawn = draw(name, comparison.frames, comparison.display) if comparison.rows else None
    if drawn is None:
        raise Http404("Nothing to draw of these units.")
    if form == "html":
        return render(request, "units/chart.html", {"drawn": drawn, "chart_query": _query(comparison)})
    response = HttpResponse(drawn.file(form), content_type=FORMS[form])
    if form != "json":
        response["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return response


def _asked(request: HttpRequest) -> Comparison:
    keys = []
    for text in request.GET.getlist("unit"):
        try:
            keys.append(UUID(text))
        except ValueError:
            continue
    return compare(request.user, keys, request.GET.get("at", RATED), display_of(request))


def _lines(comparison: Comparison, units: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the table's rows with the key that links each to its page; what is missing is None."""
    keys = {name: key for key, name in names(list(comparison.rows)).items()}
    rows = units.astype(object).where(units.notna(), None).to_dict("records")
    return [row | {"id": keys[row["unit"]]} for row in rows]


def _query(comparison: Comparison) -> str:
    return urlencode([("at", comparison.at), *(("unit", str(row.unit.pk)) for row in comparison.rows)])
