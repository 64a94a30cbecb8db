"""Filters of the published page, which is written from plain data: instants are strings there."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

from django import template
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from units.editions import figures
from units.editions.figures import K95, watts
from units.editions.words import condition_title, plain
from units.quantities import NO_BREAK, number, with_uncertainty

register = template.Library()
SMALLEST_SHARE = 0.02
LEAST_PROBABILITY = 0.001


@register.filter
def day(instant: str) -> str:
    """Write an instant's day: `14 July 2026`."""
    return f"{_instant(instant):%-d %B %Y}"


@register.filter
def moment(instant: str) -> str:
    """Write an instant to the minute, in UTC."""
    return f"{_instant(instant):%-d %b %Y, %H:%M} UTC"


@register.filter
def clock(instant: str) -> str:
    """Write an instant's time of day, in UTC."""
    return f"{_instant(instant):%H:%M} UTC"


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


@register.filter
def signed_w(watts: float) -> str:
    """Write a term of the balance with its sign."""
    return f"{'+' if watts > 0 else ''}{number(watts, 1)}"


@register.filter
def u95_w(u_w: float) -> str:
    """Write the U95 of a standard uncertainty."""
    return number(K95 * u_w, 1)


@register.filter
def probability(fraction: float) -> str:
    """Write a probability: never more sure than one in a thousand.

    >>> probability(1e-9), probability(0.0574), probability(0.99999)
    ('less than 0.1 %', '6 %', 'more than 99.9 %')
    """
    if fraction < LEAST_PROBABILITY:
        return "less than 0.1 %"
    if fraction > 1 - LEAST_PROBABILITY:
        return "more than 99.9 %"
    return f"{100 * fraction:.0f} %"


@register.simple_tag
def claimed(claim: dict[str, Any]) -> str:
    """Write a claim with the digits it is stated with, and a cooling power in W too."""
    stated = f"{claim['value']:,.6g}{NO_BREAK}{claim['quantity_unit']}"
    if claim["quantity"] in ("capacity", "sacc") and claim["quantity_unit"] != "W":
        return f"{stated} ({with_uncertainty(claim['value_si'], None, 'W')})"
    return stated


@register.simple_tag
def step(value_w: float, u_w: float) -> str:
    """Write a step of a shortfall, in both systems."""
    return watts(value_w, K95 * u_w)


@register.filter
def spaced(name: str) -> str:
    """Write a name of the program's as words: `very_light` is very light."""
    return name.replace("_", " ")


@register.filter
def shares(budget: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the lines of a budget that matter, and the others together as one."""
    shown = [line for line in budget if abs(line["share"]) >= SMALLEST_SHARE]
    rest = [line for line in budget if abs(line["share"]) < SMALLEST_SHARE]
    if not rest:
        return shown
    contribution = sum(line["contribution_w"] ** 2 for line in rest) ** 0.5
    together = {
        "name": f"{len(rest)} smaller ones",
        "source": "each in the JSON document",
        "contribution_w": contribution,
        "share": sum(line["share"] for line in rest),
        "evaluation": "",
    }
    return [*shown, together]


@register.filter
def condition(pair: tuple[str, dict[str, float]]) -> str:
    """Write a measured condition with its ±, temperatures in both scales."""
    name, measured = pair
    return figures.condition(name, measured["value"], K95 * measured["u"])


register.simple_tag(figures.place, name="place")
register.filter("condition_title", condition_title)
register.filter("plain", plain)
register.filter("counted", number)


@register.filter
def in_paragraphs(text: str) -> SafeString:
    """Write plain text as paragraphs: an empty line begins one, a single line break is a space."""
    parts = re.split(r"\n\s*\n", text.replace("\r", ""))
    return mark_safe("".join(f"<p>{escape(' '.join(part.split()))}</p>" for part in parts if part.strip()))  # noqa: S308  escaped
