"""One unit as a reader sees it."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from units import access


def show(request: HttpRequest, unit_id: UUID) -> HttpResponse:
    """Show what is claimed and measured of a unit."""
    unit = access.fetch_readable_unit(unit_id, person=request.user)
    return render(request, "units/unit.html", {"unit": unit, "is_synthetic": unit.is_synthetic})
