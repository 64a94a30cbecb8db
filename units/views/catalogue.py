"""The catalogue: every unit a reader may see, with what is measured against what is claimed."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from units.charts.row import row_graphic
from units.compare.catalogue import SORTS, Asked, CataloguePage, catalogue_page
from units.compare.words import TITLES, label
from units.quantities import Display, display_of

SORT_LABELS = {
    "name": "Name",
    "ratio": "Measured ÷ claimed",
    "capacity": "Measured capacity",
    "eer": "Measured EER",
    "claimed": "Claimed capacity",
    "claimed-eer": "Claimed EER",
}
OPEN_FACETS = {"kind", "compressor", "capacity", "outdoor"}
FEW = 12


@require_safe
def catalogue(request: HttpRequest) -> HttpResponse:
    """Show one page of the catalogue; the address holds its whole state."""
    asked = Asked.from_query(request.GET)
    page = catalogue_page(request.user, asked)
    display = display_of(request)
    rows = [{"entry": entry, "graphic": row_graphic(entry)} for entry in page.entries]
    context = {
        "page": page,
        "rows": rows,
        "facets": _facets(page, display),
        "active": _active(request.GET, asked, display),
        "sorts": [(name, SORT_LABELS[name], name == asked.sort) for name in SORTS],
        "q": request.GET.get("q", ""),
        "is_synthetic": any(entry.is_synthetic for entry in page.entries),
        "shown_page": min(asked.page, page.pages),
    }
    part = request.htmx and not request.htmx.history_restore_request
    response = render(request, "units/catalogue_part.html" if part else "units/catalogue.html", context)
    patch_vary_headers(response, ["HX-Request"])
    return response


def _facets(page: CataloguePage, display: Display) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "title": title,
            "open": name in OPEN_FACETS or name in page.asked.chosen,
            "values": [
                {
                    "value": found.value,
                    "label": label(name, found.value, display),
                    "count": found.count,
                    "on": found.chosen,
                }
                for i, found in enumerate(page.facets[name])
                if i < FEW or found.chosen
            ],
            "hidden": sum(not found.chosen for found in page.facets[name][FEW:]),
        }
        for name, title in TITLES.items()
        if page.facets[name]
    ]


def _active(query: QueryDict, asked: Asked, display: Display) -> list[dict[str, str]]:
    """Return each chosen value with the address that takes it out."""
    active = []
    for name, values in asked.chosen.items():
        for value in sorted(values):
            without = query.copy()
            without.pop("page", None)
            without.setlist(name, [other for other in without.getlist(name) if other != value])
            text = f"{TITLES[name]}: {label(name, value, display)}"
            active.append({"label": text, "address": f"?{without.urlencode()}"})
    return active
