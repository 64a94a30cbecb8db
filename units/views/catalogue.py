"""The catalogue: every unit a reader may see, with what is measured and what is claimed."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from units import access


def catalogue(request: HttpRequest) -> HttpResponse:
    """List the units."""
    return render(request, "units/catalogue.html", {"units": access.readable_units(request.user)})
