"""Keys for programs: made once, shown once, revoked for good."""

from __future__ import annotations

import hashlib
import secrets
from datetime import UTC, datetime, timedelta

from units.models import ApiToken, Bench, Person

SECRET_BYTES = 32
LONGEST_DAYS = 366


def make(*, bench: Bench, label: str, token_role: str, days: int, by: Person) -> tuple[ApiToken, str]:
    """Return the token and its secret, which is kept nowhere and cannot be shown again."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    token = ApiToken.objects.create(
        bench=bench,
        person=by,
        label=label,
        token_role=token_role,
        secret_sha256=hashed(secret),
        expires_at=datetime.now(UTC) + timedelta(days=min(days, LONGEST_DAYS)),
    )
    return token, secret


def revoke(*, token: ApiToken, by: Person) -> ApiToken:
    """End a token now."""
    token.revoked_at = token.revoked_at or datetime.now(UTC)
    token.save(update_fields=["revoked_at"])
    return token


def holder(secret: str) -> ApiToken | None:
    """Return the living token of a secret, found by its hash, or None."""
    living = ApiToken.objects.filter(revoked_at__isnull=True, expires_at__gt=datetime.now(UTC), person__is_active=True)
    return living.select_related("person", "bench").filter(secret_sha256=hashed(secret)).first()


def hashed(secret: str) -> str:
    """Return what is kept of a secret; it is random and long, so one round of SHA-256 is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()
