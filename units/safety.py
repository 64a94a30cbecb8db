"""What a production set-up must not be like; it does not start before that is mended."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

SHORTEST_KEY, FEWEST_LETTERS = 50, 5  # as Django's own deployment check (security.W009)
SHORTEST_TOKEN = 20


def faults(stated: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is unsafe in the settings of a production set-up, each with what to do."""
    if stated["DEBUG"]:
        yield "DEBUG is on: it shows the program's inside to visitors. Leave it out."
    key = stated["SECRET_KEY"]
    if len(key) < SHORTEST_KEY or len(set(key)) < FEWEST_LETTERS or key.startswith("django-insecure-"):
        yield f"SECRET_KEY is weak: take at least {SHORTEST_KEY} random characters."
    if not stated["ALLOWED_HOSTS"] or "*" in stated["ALLOWED_HOSTS"]:
        yield "ALLOWED_HOSTS must name this site's host names, and not all there are."
    for origin in stated["CSRF_TRUSTED_ORIGINS"]:
        if not origin.startswith("https://") or "*" in origin:
            yield f"CSRF_TRUSTED_ORIGINS: {origin} is not one https address."
    if stated["SECURE_HSTS_SECONDS"] <= 0:
        yield "SECURE_HSTS_SECONDS must be above zero: without it a first visit can be led over plain http."
    if 0 < len(stated["METRICS_TOKEN"]) < SHORTEST_TOKEN:
        yield f"METRICS_TOKEN can be guessed: take at least {SHORTEST_TOKEN} random characters, or none for no metrics."
