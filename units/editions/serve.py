"""An edition as it is sent: the frozen page, and above it what became of the edition since.

The page and the document never change. What is added when a page is sent is one notice, that a later edition corrects
this one or that the review was withdrawn; it is part of the page's ETag.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag

from units.editions import read
from units.editions.page import ORIGIN, STANDING
from units.models import Edition

if TYPE_CHECKING:
    from collections.abc import Callable

STANDING_KEPT_S = 10  # how long a process may not know of a correction or a withdrawal
PAGE_KEPT_S = 3600
FOR_EVER = "public, max-age=31536000, immutable"
A_DAY = "public, max-age=86400, stale-while-revalidate=604800"
ASK_AGAIN = "public, no-cache"


@dataclass(frozen=True)
class Standing:
    """Which edition an address leads to, and what became of it."""

    pk: str
    slug: str
    number: int
    sha256: str
    notice: str
    withdrawn: bool

    def etag(self, origin: str) -> str:
        """Return the page's ETag: the edition, its notice and the site's address."""
        told = f"{self.sha256}{self.notice}{origin}"
        return quote_etag(hashlib.sha256(told.encode()).hexdigest()[:32])


def standing_of(slug: str, number: int | None) -> Standing:
    """Return what an address leads to, or raise Http404."""
    return cache.get_or_set(f"standing:{slug}:{number}", lambda: _standing(read.edition(slug, number)), STANDING_KEPT_S)


def forget(slug: str, last: int) -> None:
    """Let this process see at once that a review was published, corrected or withdrawn; others see it in seconds."""
    cache.delete_many([f"standing:{slug}:{number}" for number in [None, *range(1, last + 1)]])


def _standing(edition: Edition) -> Standing:
    withdrawal = read.withdrawal_of(edition)
    later = read.edition(edition.review.slug) if hasattr(edition, "superseded_by") else None
    notice = ""
    if withdrawal is not None or later is not None:
        context = {"edition": edition, "withdrawal": withdrawal, "later": later, "address": f"{ORIGIN}/published/"}
        notice = render_to_string("units/published/_standing.html", context).strip()
    return Standing(
        str(edition.pk), edition.review.slug, edition.number, edition.sha256, notice, withdrawal is not None
    )


def page_bytes(standing: Standing, origin: str) -> bytes:
    """Return the page as it is sent."""

    def make() -> bytes:
        html = read.edition(standing.slug, standing.number).html
        return html.replace(STANDING, standing.notice, 1).replace(ORIGIN, origin).encode()

    return cache.get_or_set(f"page:{standing.pk}:{standing.etag(origin)}", make, PAGE_KEPT_S)


def origin_of(request: HttpRequest) -> str:
    """Return the site's address as this reader sees it."""
    return f"{request.scheme}://{request.get_host()}"


def sent(
    request: HttpRequest, etag: str, make: Callable[[], bytes], *, content_type: str, keep: str, name: str = ""
) -> HttpResponse:
    """Answer with the bytes, or with 304 and without making them where the reader has them already."""
    response = get_conditional_response(request, etag=etag)
    if response is None:
        response = HttpResponse(make(), content_type=content_type)
    response["ETag"] = etag
    response["Cache-Control"] = keep
    if name:
        response["Content-Disposition"] = f'attachment; filename="{name}"'
    request.session.accessed = False  # who asks makes no difference here, so that shared caches may keep the answer
    return response
