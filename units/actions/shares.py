"""Private views of a draft: a link with a secret, and what a maker answers through it."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from units.models import MakerComment, ShareLink

if TYPE_CHECKING:
    from units.models import Person, Review

SECRET_BYTES = 32
LONGEST_DAYS = 90
MOST_COMMENTS = 20


@transaction.atomic
def share(*, review: Review, label: str, days: int, may_comment: bool = True, by: Person) -> tuple[ShareLink, str]:
    """Make a link and return it with its secret, which is shown once and kept only as its hash."""
    if not 1 <= days <= LONGEST_DAYS:
        raise ValidationError(f"A link lives 1 to {LONGEST_DAYS} days.")
    secret = secrets.token_urlsafe(SECRET_BYTES)
    link = ShareLink.objects.create(
        review=review,
        secret_sha256=hashed(secret),
        label=label,
        expires_at=timezone.now() + timedelta(days=days),
        may_comment=may_comment,
    )
    return link, secret


@transaction.atomic
def revoke(*, link: ShareLink, by: Person) -> ShareLink:
    """End a link at once."""
    link.revoked_at = link.revoked_at or timezone.now()
    link.save(update_fields=["revoked_at"])
    return link


@transaction.atomic
def comment(*, by: ShareLink, name: str, text: str) -> MakerComment:
    """Keep what a maker answers; the owner alone sees it until it is accepted."""
    if not by.may_comment:
        raise ValidationError("This link is for reading only.")
    if by.comments.count() >= MOST_COMMENTS:
        raise ValidationError(f"This link has carried {MOST_COMMENTS} answers already; please write to the bench.")
    return MakerComment.objects.create(review_id=by.review_id, link=by, name=name, text=text)


def hashed(secret: str) -> str:
    """Return what is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()
