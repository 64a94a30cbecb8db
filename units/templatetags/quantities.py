"""Quantities in templates, in the reader's units: `{% cooling p.capacity_w p.capacity_u95_w %}`.

Every tag takes the value and, where measured, its U95; all are built in, so no template loads them.
"""

from __future__ import annotations

from typing import Any

from django import template
from django.urls import reverse

from units import quantities
from units.picture import Drawn
from units.quantities import Display, display_of

register = template.Library()

Context = dict[str, Any]


def _display(context: Context) -> Display:
    """Return the page's choice; a page without a request is written in °C and W."""
    return context.get("display") or display_of(context.get("request"))


@register.simple_tag(takes_context=True)
def temp(context: Context, celsius: float | None, u95: float | None = None, decimals: int = 1) -> str:
    """Write a temperature."""
    return quantities.temp(celsius, u95, _display(context), decimals=decimals)


@register.simple_tag(takes_context=True)
def temp_difference(context: Context, kelvin: float | None, u95: float | None = None) -> str:
    """Write a difference of temperatures."""
    return quantities.temp_difference(kelvin, u95, _display(context))


@register.simple_tag(takes_context=True)
def cooling(context: Context, watts: float | None, u95: float | None = None) -> str:
    """Write a cooling or heat power."""
    return quantities.cooling(watts, u95, _display(context))


@register.simple_tag
def cooling_both(watts: float | None, u95: float | None = None) -> str:
    """Write a cooling power in W and in Btu/h, for pages that are the same for all."""
    return f"{quantities.cooling(watts, u95)} ({quantities.cooling(watts, u95, Display(power='Btu/h'))})"


@register.simple_tag
def temp_both(celsius: float | None, u95: float | None = None) -> str:
    """Write a temperature in °C and in °F, for pages that are the same for all."""
    return f"{quantities.temp(celsius, u95)} ({quantities.temp(celsius, u95, Display(temperature='F'))})"


register.simple_tag(quantities.electric, name="electric")
register.simple_tag(quantities.eer, name="eer")
register.simple_tag(quantities.cop, name="cop")
register.simple_tag(quantities.percent, name="percent")
register.simple_tag(quantities.heat_capacity, name="heat_capacity")
register.simple_tag(quantities.with_uncertainty, name="quantity")


@register.filter
def signed(number: float) -> str:
    """Write a plain number to two decimals, with a true minus sign."""
    return quantities.number(number, 2)


@register.simple_tag(takes_context=True)
def with_state(context: Context, **changes: Any) -> str:
    """Return the page's query string with some keys changed; None takes a key out."""
    query = context["request"].GET.copy()
    for key, value in changes.items():
        query.pop(key, None)
        if value is not None:
            query[key] = value
    return f"?{query.urlencode()}" if query else "?"


@register.simple_tag(takes_context=True)
def chart_file(context: Context, drawn: Drawn, form: str, chart_query: str = "") -> str:
    """Return where a chart's file is: of compared units at an address of its own, else at that of its page."""
    if chart_query:
        return f"{reverse('chart', args=[drawn.key, form])}?{chart_query}"
    return with_state(context, chart=f"{drawn.key}.{form}")
