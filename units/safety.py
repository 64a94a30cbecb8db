"""What a production set-up must not be like; it does not start before that is mended."""

from __future__ import annotations

import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

SHORTEST_KEY, FEWEST_LETTERS = 50, 5  # as Django's own deployment check (security.W009)
SHORTEST_TOKEN, SHORTEST_PASSWORD = 20, 12
SHORTEST_HSTS_S = 3600
LOCAL = ("localhost", "127.0.0.1", "::1", "[::1]", "testserver")


def faults(stated: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is unsafe in the settings of a production set-up, each with what to do."""
    if stated["DEBUG"]:
        yield "DEBUG is on: it shows the program's inside to visitors. Leave it out."
    yield from _of_secrets(stated)
    yield from _of_hosts(stated)
    yield from _of_places(stated)


def faults_outside_production(stated: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is unsafe even where nobody said that this is a production set-up."""
    public = [host for host in stated["ALLOWED_HOSTS"] if host not in LOCAL]
    if stated["DEBUG"] and public:
        yield f"DEBUG is on and ALLOWED_HOSTS names {public[0]}: visitors would see the program's inside."


def _of_secrets(stated: Mapping[str, Any]) -> Iterator[str]:
    key, token, database = stated["SECRET_KEY"], stated["METRICS_TOKEN"], stated["DATABASES"]["default"]
    if len(key) < SHORTEST_KEY or len(set(key)) < FEWEST_LETTERS or key.startswith("django-insecure-"):
        yield f"SECRET_KEY is weak: take at least {SHORTEST_KEY} random characters."
    if token and (len(token) < SHORTEST_TOKEN or len(set(token)) < FEWEST_LETTERS):
        yield f"METRICS_TOKEN can be guessed: take at least {SHORTEST_TOKEN} random characters, or none for no metrics."
    password = str(database.get("PASSWORD") or "")
    if len({key, token, password} - {""}) < len([one for one in (key, token, password) if one]):
        yield "SECRET_KEY, METRICS_TOKEN and DATABASE_URL's password must differ: who learns one must not know all."
    if password and (len(password) < SHORTEST_PASSWORD or password in (database.get("USER"), database.get("NAME"))):
        yield f"DATABASE_URL: its password can be guessed: take at least {SHORTEST_PASSWORD} random letters and digits."


def _of_hosts(stated: Mapping[str, Any]) -> Iterator[str]:
    hosts = stated["ALLOWED_HOSTS"]
    if not hosts or any("*" in host or host.startswith(".") for host in hosts):
        yield "ALLOWED_HOSTS must name this site's host names, each by itself, and not all there are."
    for origin in stated["CSRF_TRUSTED_ORIGINS"]:
        if not origin.startswith("https://") or "*" in origin:
            yield f"CSRF_TRUSTED_ORIGINS: {origin} is not one https address."
    if stated["SECURE_HSTS_SECONDS"] < SHORTEST_HSTS_S:
        yield "SECURE_HSTS_SECONDS must be above zero, an hour (3600) at least: else visits can be led over plain http."
    if not stated["SECURE_SSL_REDIRECT"]:
        yield "SECURE_SSL_REDIRECT is off: pages and passwords would go over plain http. Leave it out."
    if stated["PROXIES"] < 0:
        yield (
            "PROXIES must say how many proxies of yours stand in front, 0 for none: with too few, one who guesses "
            "passwords shuts out everybody; with too many, they are never slowed."
        )


def _of_places(stated: Mapping[str, Any]) -> Iterator[str]:
    """What lies where others can read or change it."""
    public, database = Path(stated["STATIC_ROOT"]).resolve(), stated["DATABASES"]["default"]
    places = {"EVIDENCE_DIR": stated["MEDIA_ROOT"]}
    if database["ENGINE"].endswith("sqlite3"):
        places["DATABASE_URL"] = database["NAME"]
    for name, place in places.items():
        if Path(place).resolve().is_relative_to(public):
            yield f"{name} lies under {public}, whose files everybody can read. Choose another folder."
    for name in ("DATA_DIR", "MEDIA_ROOT"):
        folder = Path(stated[name])
        if folder.is_dir() and folder.stat().st_mode & stat.S_IWOTH:
            called = {"MEDIA_ROOT": "EVIDENCE_DIR"}.get(name, name)
            yield f"{called}: every account of this machine can write into {folder}. Take that right away (chmod o-w)."
