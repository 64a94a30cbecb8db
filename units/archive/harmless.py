"""A page that comes from elsewhere is served to everybody here: it may hold what our own pages hold, and no more."""

from __future__ import annotations

from html.parser import HTMLParser

from django.conf import settings
from django.db import models

from units.archive.rows import AnyRow
from units.archive.versions import refused
from units.models import Edition

FORBIDDEN = {"iframe", "frame", "object", "embed", "applet", "base", "form", "input", "portal", "template"}
DATA = {"application/ld+json", "application/json"}
ADDRESSES = {"href", "src", "xlink:href", "action", "formaction", "poster", "data", "srcset", "ping", "background"}


def refuse_script(model: type[models.Model], row: AnyRow, name: str) -> None:
    """Raise where an edition's page would run or load anything that a page of ours would not."""
    if model is not Edition:
        return
    looked = _Looked()
    looked.feed(str(row.get("html", "")))
    looked.close()
    if looked.faults:
        found = f"an edition whose page holds {looked.faults[0]}"
        raise refused(name, found, "editions as they were published", "Export the bench again.")


class _Looked(HTMLParser):
    """Reads a page and notes what has no place on it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at one tag."""
        given = {name: "".join((value or "").split()).lower() for name, value in attrs}
        if tag in FORBIDDEN:
            self.faults.append(f"<{tag}>")
        if tag == "script" and given.get("type") not in DATA and not _is_ours(given.get("src", "")):
            self.faults.append("a script")
        if tag == "meta" and "http-equiv" in given:
            self.faults.append("a command to the browser")
        self.faults += [f"{each}=" for each in given if each.startswith("on")]
        self.faults += [f"an address that runs ({each})" for each in ADDRESSES & given.keys() if _runs(given[each])]


def _is_ours(address: str) -> bool:
    return address.removeprefix("@@origin@@").startswith(settings.STATIC_URL) and ".." not in address


def _runs(address: str) -> bool:
    scheme = address.partition(":")[0] if ":" in address else ""
    return scheme in {"javascript", "vbscript"} or (scheme == "data" and not address.startswith("data:image/"))
