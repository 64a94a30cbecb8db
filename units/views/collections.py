"""Kept sets of units."""

from __future__ import annotations

from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from units import access
from units.actions import collections as actions
from units.compare.points import asked_units
from units.middleware import BenchRequest
from units.models import Bench, Collection


def address_of(collection: Collection) -> str:
    """Return where a kept set is compared."""
    keys = collection.units.values_list("pk", flat=True)
    return reverse("compare") + "?" + urlencode([("unit", str(key)) for key in keys])


@access.at_bench(to="edit")
@require_POST
def keep(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Keep the units of a comparison under a name."""
    units = access.readable_units(request.user).filter(pk__in=asked_units(request.POST))
    name = request.POST.get("name", "").strip()[:80]
    if not name or not units:
        messages.error(request, "A collection needs a name and at least one unit; nothing was kept.")
        return redirect("compare")
    collection = actions.keep(bench=bench, name=name, units=units, by=request.user)
    messages.success(request, f"Kept as “{collection.name}”.")
    return redirect(address_of(collection))


@require_safe
@login_required
def show(request: BenchRequest, collection_id: UUID) -> HttpResponse:
    """Compare a kept set."""
    return redirect(address_of(access.fetch(Collection, collection_id, person=request.user)))


@login_required
@require_POST
def drop(request: BenchRequest, collection_id: UUID) -> HttpResponse:
    """Forget a kept set."""
    collection = access.fetch(Collection, collection_id, person=request.user, to="edit")
    messages.success(request, f"“{actions.drop(collection=collection, by=request.user)}” is forgotten; its units stay.")
    return redirect("compare")
