"""An edition as it is sent: the frozen page, and above it what became of the edition since.

The page and the document never change. What is added when a page is sent is one notice, that a later edition corrects
this one or that the review was withdrawn; it is part of the page's ETag.
"""

from __future__ import annotations

import gzip
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
from units.editions.policy import style_sources
from units.editions.style import set_in
from units.models import Edition

if TYPE_CHECKING:
    from collections.abc import Callable

KEPT_S = 10  # how long a process may not know of a correction or a withdrawal
PACKED_KEPT_S = 3600
FOR_EVER = "public, max-age=31536000, immutable"
A_DAY = "public, max-age=86400, stale-while-revalidate=604800"
ASK_AGAIN = "public, no-cache"


@dataclass(frozen=True)
class Served:
    """What an address answers with, cut where the site's own address is to be put in."""

    etag: str
    parts: tuple[bytes, ...]
    withdrawn: bool
    style_sources: tuple[str, ...]

    def page(self, origin: str) -> bytes:
        """Return the page as it is sent."""
        return origin.encode().join(self.parts)

    def packed(self, origin: str) -> bytes:
        """Return the page compressed; nothing in it is secret, so its size tells nothing."""
        key = f"packed:{self.etag}:{hashlib.sha256(origin.encode()).hexdigest()}"
        return cache.get_or_set(key, lambda: gzip.compress(self.page(origin), mtime=0), PACKED_KEPT_S)


def served(slug: str, number: int | None) -> Served:
    """Return what an address answers with, or raise Http404; read once in a while, not for every reader."""
    return cache.get_or_set(_key(slug, number), lambda: _read(read.edition(slug, number)), KEPT_S)


def forget(slug: str, last: int) -> None:
    """Let this process see at once that a review was published, corrected or withdrawn; others see it in seconds."""
    cache.delete_many([_key(slug, number) for number in [None, *range(1, last + 1)]])


def _key(slug: str, number: int | None) -> str:
    return f"served:{slug}:{number or 'last'}"


def _read(edition: Edition) -> Served:
    notice = _notice(edition)
    body = set_in(edition.html, STANDING, notice).encode()
    etag = quote_etag(hashlib.sha256(body).hexdigest()[:32])
    withdrawn = read.withdrawal_of(edition) is not None
    return Served(etag, tuple(body.split(ORIGIN.encode())), withdrawn, style_sources(body))


def _notice(edition: Edition) -> str:
    """Return what became of an edition since: nothing, a later one, or the withdrawal of the review."""
    withdrawal = read.withdrawal_of(edition)
    later = read.edition(edition.review.slug) if hasattr(edition, "superseded_by") else None
    if withdrawal is None and later is None:
        return ""
    context = {"edition": edition, "withdrawal": withdrawal, "later": later, "address": f"{ORIGIN}/published/"}
    return render_to_string("units/published/_standing.html", context).strip()


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
