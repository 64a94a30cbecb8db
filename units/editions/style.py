"""The style that a page carries with it, so that it looks the same for ever and from disk: only what it uses."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from django.conf import settings

PLACE = "/*style*/"  # where the style goes once it is known what the page holds
STYLES = ("units/static/units/ledger.css", "units/static/units/published.css")
SCRIPT = "units/static/units/explore.js"  # may put classes on a page that its markup does not have
COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
SPACE = re.compile(r"\s+")
AROUND = re.compile(r"\s*([{};,])\s*")
RULE = re.compile(r"@[^{}]+\{(?:[^{}]*\{[^{}]*\})*[^{}]*\}|[^{}]+\{[^{}]*\}")
INSIDE = re.compile(r"\([^()]*\)")
CLASS = re.compile(r"\.([A-Za-z][\w-]*)")
WORD = re.compile(r"[A-Za-z][\w-]*")


@cache
def _rules() -> tuple[tuple[str, tuple[frozenset[str], ...]], ...]:
    """Return each rule of the style with the classes that each of its selectors needs."""
    text = "\n".join((Path(settings.BASE_DIR) / name).read_text(encoding="utf-8") for name in STYLES)
    rules = RULE.findall(AROUND.sub(r"\1", SPACE.sub(" ", COMMENT.sub("", text))).strip())
    return tuple((rule, _needs(rule.partition("{")[0])) for rule in rules)


def set_in(html: str, place: str, part: str) -> str:
    """Set a part into a page that is dressed already, with those rules for it that the page lacks."""
    there = set(WORD.findall(part))
    asked = (rule for rule, needs in _rules() if any(classes and classes <= there for classes in needs))
    style = "".join(rule for rule in asked if rule not in html)
    return html.replace(place, part, 1).replace("</style>", f"{style}</style>", 1)


def _needs(head: str) -> tuple[frozenset[str], ...]:
    if head.startswith("@"):
        return (frozenset(),)
    return tuple(frozenset(CLASS.findall(selector)) for selector in INSIDE.sub("", head).split(","))


@cache
def _by_script() -> frozenset[str]:
    return frozenset(WORD.findall((Path(settings.BASE_DIR) / SCRIPT).read_text(encoding="utf-8")))


def dressed(html: str) -> str:
    """Put in the rules whose classes a page has; what a script may add counts as there."""
    there = set(WORD.findall(html)) | _by_script()
    style = "".join(rule for rule, needs in _rules() if any(classes <= there for classes in needs))
    return html.replace(PLACE, style, 1)
