"""What a visitor reads of a review: its last edition, each edition for ever, and the same as files."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

import altair as alt
from csp.decorators import csp_replace
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.http import quote_etag
from django.views.decorators.clickjacking import xframe_options_exempt
from django.views.decorators.http import require_safe

from units import drawing
from units.editions import data_set, export, feeds, raw, read
from units.editions.document import standing_alone
from units.editions.serve import A_DAY, ASK_AGAIN, FOR_EVER, Served, origin_of, sent, served
from units.editions.style import PLACE, dressed

HTML = "text/html; charset=utf-8"
CSV = "text/csv; charset=utf-8"
TAKES_GZIP = re.compile(r"\bgzip\b(?!\s*;\s*q=0(?:\.0*)?\s*(?:,|$))")
A_DAY_S = 24 * 3600


@require_safe
def listing(request: HttpRequest) -> HttpResponse:
    """List every review that stands, newest first."""
    editions = read.with_titles(read.latest())
    return render(request, "units/published/listing.html", {"editions": editions})


@require_safe
def everything(request: HttpRequest) -> HttpResponseBase:
    """Hand out all that is published as one file."""
    digest = data_set.state()
    found = get_conditional_response(request, etag=quote_etag(digest))
    response = found or FileResponse(
        data_set.packed(digest).open("rb"), as_attachment=True, filename=data_set.NAME, content_type="application/zip"
    )
    response["ETag"] = quote_etag(digest)
    response["Cache-Control"] = ASK_AGAIN
    return response


@require_safe
def latest(request: HttpRequest, slug: str) -> HttpResponse:
    """Show the last edition at the review's own address; where it was withdrawn, say so and why."""
    found = served(slug, None)
    if found.withdrawn:
        series = read.series(slug)
        last = read.parsed(series[0])
        context = {"series": series, "withdrawal": read.withdrawal_of(series[0]), "title": last["title"]}
        context["is_synthetic"] = last["synthetic"]
        return render(request, "units/published/withdrawn.html", context, status=410)
    return _page(request, found, keep=ASK_AGAIN)


@require_safe
def numbered(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    """Show one edition, as it was published."""
    return _page(request, served(slug, number), keep=A_DAY)


def _page(request: HttpRequest, found: Served, *, keep: str) -> HttpResponse:
    packed = TAKES_GZIP.search(request.headers.get("Accept-Encoding", "")) is not None
    etag = f'{found.etag[:-1]}-gzip"' if packed else found.etag
    make = found.packed if packed else found.page
    response = sent(request, etag, lambda: make(origin_of(request)), content_type=HTML, keep=keep)
    if packed and response.status_code == HTTPStatus.OK:
        response["Content-Encoding"] = "gzip"
    patch_vary_headers(response, ["Accept-Encoding"])
    response.style_sources = found.style_sources
    return response


@require_safe
def document(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    """Hand out the document whose bytes the digest is of."""
    edition = read.edition(slug, number)
    name = f"{slug}-edition-{number}.json"
    return sent(
        request,
        quote_etag(edition.sha256),
        lambda: edition.document.encode(),
        content_type="application/json",
        keep=FOR_EVER,
        name=name,
    )


@require_safe
def table(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    """Hand out the points as CSV."""
    edition = read.edition(slug, number)
    return _frozen(
        request, edition, "csv", lambda: feeds.table(read.parsed(edition)), CSV, f"{slug}-edition-{number}.csv"
    )


@require_safe
def file(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    """Hand out the edition as one file for a disk."""
    edition = read.edition(slug, number)
    origin = origin_of(request)
    name = f"{slug}-edition-{number}.html"
    return _frozen(request, edition, f"file-{origin}", lambda: export.one_file(edition, origin).encode(), HTML, name)


@require_safe
def chart(request: HttpRequest, slug: str, number: int, name: str, form: str) -> HttpResponse:
    """Hand out one chart of an edition as a picture, or as what draws the interactive one."""
    edition = read.edition(slug, number)
    found = _chart(read.parsed(edition), name)
    makers: dict[str, tuple[str, Callable[[], bytes]]] = {
        "svg": ("image/svg+xml", lambda: standing_alone(found["svg"]).encode()),
        "json": ("application/json", lambda: json.dumps({"spec": found["spec"], "inks": drawing.INKS}).encode()),
        "png": ("image/png", lambda: _png(edition.sha256, found)),
        "csv": (CSV, lambda: feeds.chart_table(found)),
    }
    if form not in makers:
        raise Http404("No such form of a chart.")
    content_type, make = makers[form]
    return _frozen(request, edition, f"{name}-{form}", make, content_type)


@require_safe
@xframe_options_exempt
@csp_replace({"frame-ancestors": ["*"]})
def embed(request: HttpRequest, slug: str, number: int, name: str) -> HttpResponse:
    """Show one chart alone, for a frame on any other site."""
    edition = read.edition(slug, number)
    data = read.parsed(edition)
    context = {"d": data, "chart": _chart(data, name), "style": PLACE, "is_synthetic": data["synthetic"]}
    response = HttpResponse(dressed(render_to_string("units/published/embed.html", context)))
    response["Cache-Control"] = A_DAY
    return response


@require_safe
def raw_table(request: HttpRequest, slug: str, number: int, sha256: str) -> HttpResponse:
    """Hand out the logged data of a session that the reviewer published."""
    edition = read.edition(slug, number)
    published = [session["raw"]["sha256"] for session in read.parsed(edition)["sessions"].values() if session["raw"]]
    if sha256 not in published or not default_storage.exists(raw.stored_name(sha256)):
        raise Http404("No such table.")
    with default_storage.open(raw.stored_name(sha256)) as stored:
        content = stored.read()
    return sent(
        request, quote_etag(sha256), lambda: content, content_type=CSV, keep=FOR_EVER, name=f"{slug}-{sha256[:12]}.csv"
    )


@require_safe
def feed(request: HttpRequest) -> HttpResponse:
    """Hand out the Atom feed of editions."""
    content = feeds.atom(read.with_titles(read.standing()), origin_of(request))
    return HttpResponse(content, content_type="application/atom+xml; charset=utf-8")


@require_safe
def sitemap(request: HttpRequest) -> HttpResponse:
    """Hand out the site map."""
    return HttpResponse(feeds.sitemap(read.latest(), origin_of(request)), content_type="application/xml")


@require_safe
def robots(request: HttpRequest) -> HttpResponse:
    """Say what robots may read."""
    return HttpResponse(feeds.robots(origin_of(request)), content_type="text/plain; charset=utf-8")


def _frozen(
    request: HttpRequest, edition: Any, what: str, make: Callable[[], bytes], content_type: str, name: str = ""
) -> HttpResponse:
    """Answer with something made of a frozen edition: its digest and what was made of it are the ETag."""
    etag = quote_etag(f"{edition.sha256[:32]}-{what}")
    return sent(request, etag, make, content_type=content_type, keep=FOR_EVER, name=name)


def _chart(data: dict[str, Any], name: str) -> dict[str, Any]:
    found = next((one for one in data["charts"] if one["name"] == name), None)
    if found is None:
        raise Http404("No such chart in this edition.")
    return found


def _png(sha256: str, found: dict[str, Any]) -> bytes:
    key = f"png:{sha256}:{found['name']}"
    return cache.get_or_set(key, lambda: drawing.picture(alt.Chart.from_dict(found["spec"])), A_DAY_S)
