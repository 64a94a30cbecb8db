"""Units side by side, and every chart of them as a file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.core.cache import cache
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from units import access
from units.chart_files import file_answer
from units.charts import PICTURES, draw
from units.compare.catalogue import Asked, matching_units, shown_to
from units.compare.comparison import MOST_UNITS, Comparison, compare
from units.compare.frames import names
from units.compare.points import asked_units
from units.compare.season import CLIMATES, Choice
from units.compare.surfaces import PLACES as LINED
from units.compare.words import band_label
from units.models import Collection
from units.picture import A_DAY_S, FORMS, Picture
from units.pooled import BANDS, RATED
from units.quantities import display_of

OFFERED = 100


@require_safe
def show(request: HttpRequest) -> HttpResponse:
    """Compare the units that the address names; without any, offer some to pick."""
    comparison = _asked(request)
    display, named = comparison.display, names(list(comparison.rows))
    offered = list(shown_to(request.user).order_by("name", "pk")[:OFFERED]) if not comparison.rows else []
    shown = [*(row.unit for row in comparison.rows), *offered]
    context = {
        "comparison": comparison,
        "units": [{"row": row, "name": named[row.unit.pk]} for row in comparison.rows],
        "lines": _lines(comparison),
        "places": places(request, comparison, PICTURES) if comparison.rows else [],
        "chart_query": query_of(comparison),
        "bases": [(RATED, "corrected to the claim's rating condition"),
                  *((band.key, f"as tested, {band_label(band.key, display)} outdoors") for band in BANDS)],
        "season": season_form(comparison),
        "collections": access.visible(Collection, request.user),
        "may_edit": access.may(getattr(request, "bench", None), request.user, "edit"),
        "is_synthetic": any(one.is_synthetic for one in shown),
        "offered": offered,
    }  # fmt: skip
    return render(request, "units/compare.html", context)


@dataclass(frozen=True)
class Place:
    """Where a chart stands on a page: with its drawing, or to be drawn when a reader reaches it."""

    picture: Picture
    figure: SafeString | None


def places(request: HttpRequest, comparison: Comparison, names: Iterable[str]) -> list[Place]:
    """Return the places of a page's charts.

    A chart stands there drawn when it was drawn before, or when the address shows it. The others are drawn when a
    reader reaches them; without a script their picture is loaded as a file.
    """
    shown, found = set(request.GET.getlist("show")), []
    keys = {name: _key(comparison, name) for name in names if _may_be_drawn(comparison, name)}
    kept = cache.get_many(keys.values())
    for name, key in keys.items():
        figure = _figure(comparison, name) if {name, "all"} & shown else kept.get(key)
        if figure != "":
            found.append(Place(PICTURES[name], figure))
    return found


def _may_be_drawn(comparison: Comparison, name: str) -> bool:
    """Say whether there is anything to draw: of one unit by its rows, of many without reading their points."""
    picture = PICTURES[name]
    frame = "points" if picture.frame in LINED else picture.frame  # a line is fitted to points: it needs no look
    if frame == "units" or len(comparison.rows) == 1:
        return not comparison.frames[frame].dropna(subset=list(picture.needs)).empty
    if frame == "steps":
        return any(row.is_explained for row in comparison.rows)
    if "claimed_capacity" in picture.needs and not any(row.claimed("capacity") for row in comparison.rows):
        return False
    return any(row.has_points for row in comparison.rows)


def _key(comparison: Comparison, name: str) -> str:
    return f"figure:{name}:{comparison.digest}"


def _figure(comparison: Comparison, name: str) -> SafeString:
    """Return a chart with its words and its table, drawn once for the same content; empty where nothing is to draw."""
    figure = cache.get(_key(comparison, name))
    if figure is None:
        drawn = draw(name, comparison.frames, comparison.display)
        figure = SafeString("")
        if drawn is not None:
            figure = render_to_string("units/chart.html", {"drawn": drawn, "chart_query": query_of(comparison)})
        cache.set(_key(comparison, name), figure, A_DAY_S)
    return figure


def _file(comparison: Comparison, name: str, form: str) -> bytes:
    """Return a chart as a file, made once for the same content; empty where nothing is to draw."""

    def made() -> bytes:
        drawn = draw(name, comparison.frames, comparison.display)
        return b"" if drawn is None else drawn.file(form)

    return cache.get_or_set(f"{form}:{name}:{comparison.digest}", made, A_DAY_S)


@require_safe
@gzip_page  # nothing secret stands beside what a stranger can choose
def chart(request: HttpRequest, name: str, form: str) -> HttpResponse:
    """Hand out one chart of the units that the address names: as a picture, its data, or the interactive one."""
    if name not in PICTURES or form not in {*FORMS, "html"}:
        raise Http404("No such chart.")
    comparison = _asked(request)
    if form == "html":
        return HttpResponse(_figure(comparison, name) if comparison.rows else "")
    file = _file(comparison, name, form) if comparison.rows else b""
    if not file:
        raise Http404("Nothing to draw of these units.")
    return file_answer(file, name, form)


def _asked(request: HttpRequest) -> Comparison:
    keys, asked = asked_units(request.GET), Asked.from_query(request.GET)
    if not keys and asked.narrows:
        keys = matching_units(request.user, asked, MOST_UNITS + 1)
    display = display_of(request)
    season = Choice.from_query(request.GET, display)
    return compare(request.user, keys, request.GET.get("at", RATED), display, season)


def _lines(comparison: Comparison) -> list[dict[str, Any]]:
    """Return the table's rows with the key that links each to its page; what is missing is None."""
    units = comparison.units_frame
    keys = {name: key for key, name in names(list(comparison.rows)).items()}
    rows = units.astype(object).where(units.notna(), None).to_dict("records")
    return [row | {"id": keys[row["unit"]]} for row in rows]


def season_form(comparison: Comparison) -> dict[str, Any]:
    """Return what the form of the reader's own season shows."""
    season, display = comparison.season, comparison.display
    return {
        "climates": [(key, label, key == season.climate) for key, label in CLIMATES.items()],
        "hours": f"{season.hours:g}",
        "load": f"{season.load_w * display.power_factor:.0f}",
        "price": f"{season.price:g}",
    }


def query_of(comparison: Comparison) -> str:
    """Return the query that names the units, the basis and the season of a comparison."""
    season, units = comparison.season, [("unit", str(row.unit.pk)) for row in comparison.rows]
    load = f"{season.load_w * comparison.display.power_factor:g}"
    chosen = [
        ("climate", season.climate),
        ("hours", f"{season.hours:g}"),
        ("load", load),
        ("price", f"{season.price:g}"),
    ]
    return urlencode([("at", comparison.at), *chosen, *units])
