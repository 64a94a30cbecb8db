"""What a visitor may open: editions by their address, and a draft by the secret of its link."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone

from units.models import Edition, ShareLink, Withdrawal

HEAVY = ("document", "html")
MOST_LISTED = 50


def parsed(edition: Edition) -> dict[str, Any]:
    """Return an edition's document as data."""
    return json.loads(edition.document)


def editions() -> QuerySet[Edition]:
    """Return every edition without its heavy columns, newest first."""
    rows = Edition.objects.select_related("review__withdrawal", "superseded_by").defer(*HEAVY)
    return rows.order_by("-published_at", "-number")


def latest() -> QuerySet[Edition]:
    """Return the last edition of each review that stands."""
    return editions().filter(superseded_by__isnull=True, review__withdrawal__isnull=True)


def edition(slug: str, number: int | None = None) -> Edition:
    """Return an edition by its address, the last one without a number, or raise Http404."""
    rows = editions().filter(review__slug=slug)
    found = (rows.order_by("-number") if number is None else rows.filter(number=number)).first()
    if found is None:
        raise Http404("No such edition.")
    return found


def series(slug: str) -> list[Edition]:
    """Return all editions of a review, newest first."""
    return list(editions().filter(review__slug=slug).order_by("-number"))


def withdrawal_of(found: Edition) -> Withdrawal | None:
    """Return the statement that the review no longer stands, if there is one."""
    return getattr(found.review, "withdrawal", None)


def shared(secret: str) -> ShareLink:
    """Return the live link that has this secret; expired, revoked and unknown ones all answer alike."""
    links = ShareLink.objects.select_related("review__bench")
    live = links.filter(revoked_at__isnull=True, expires_at__gt=timezone.now())
    found = live.filter(secret_sha256=hashlib.sha256(secret.encode()).hexdigest()).first()
    if found is None:
        raise Http404("No such link, or no longer.")
    return found


def standing() -> QuerySet[Edition]:
    """Return every edition of reviews that stand, newest first: corrections are news."""
    return editions().filter(review__withdrawal__isnull=True)


def with_titles(rows: QuerySet[Edition]) -> list[Edition]:
    """Return editions with title, summary, publisher and whether they are synthetic, as frozen in their documents."""
    found = list(rows.defer(None).defer("html")[:MOST_LISTED])
    for row in found:
        data = parsed(row)
        for name in ("title", "summary", "published_by", "synthetic"):
            setattr(row, name, data[name])
    return found
