"""Rooms: list, one room with its dated values, new values by hand or from a characterisation."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.db.models import Max, QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from reduction import session as doc
from reduction.room.envelope import total_ua
from tests_app import charts as session_charts
from tests_app.actions.outdated import outdated
from tests_app.models import Reduction, Session
from units import access
from units.actions import rooms as actions
from units.chart_files import asked_file
from units.charts import bench as charts
from units.forms.room import RoomForm, RoomValueForm, SurfaceFormSet
from units.middleware import BenchRequest
from units.models import Bench, Room, RoomValue
from units.picture import Drawn


@require_safe
@access.at_bench()
def listing(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the rooms of the bench of work."""
    rooms = access.visible(Room, request.user).filter(bench=bench)
    context = {
        "rooms": rooms.annotate(found_on=Max("values__valid_from")).order_by("name"),
        "may_edit": access.may(bench, request.user, "edit"),
    }
    return render(request, "units/rooms.html", context)


@require_safe
@login_required
def show(request: BenchRequest, room_id: UUID) -> HttpResponse:
    """Show a room, its values by date, and characterisations that could give newer ones."""
    room = access.fetch(Room, room_id, person=request.user)
    reductions = access.visible(Reduction, request.user).filter(
        session__room=room, session__purpose="characterisation", superseded_by__isnull=True
    )
    values = access.visible(RoomValue, request.user).filter(room=room).select_related("found_in__session")
    taken = {value.found_in_id for value in values}
    for value in values:
        value.total_ua = _total_ua(value.surfaces)
    context = {
        "room": room,
        "values": values,
        "fits": [
            {
                "reduction": reduction,
                "fit": fit,
                "taken": reduction.pk in taken,
                "picture": _fitted(fit, nth, reduction),
            }
            for nth, reduction in enumerate(reductions.select_related("session"), start=1)
            if (fit := reduction.result.get("room_fit"))
        ],
        "history": _history(values),
        "outdated": outdated(_reduced_in(room, request)),
        "sessions": access.visible(Session, request.user).filter(room=room).select_related("unit")[:20],
        "may_edit": access.may(room.bench, request.user, "edit"),
        "is_synthetic": room.bench.is_synthetic,
    }
    drawn = [context["history"], *(fit["picture"] for fit in context["fits"])]
    return asked_file(request, drawn) or render(request, "units/room.html", context)


def _fitted(fit: dict[str, Any], nth: int, reduction: Reduction) -> Drawn | None:
    found, title = doc.RoomFit.model_validate(fit), f"What was fitted to {reduction.session}"
    return session_charts.room_fit(found, title=title, nth=nth) if found.course_w else None


def _history(values: Iterable[RoomValue]) -> Drawn | None:
    """Return the picture of the room's leakage over time, once there are two values to compare."""
    rows = [(value.valid_from, value.surfaces) for value in reversed(list(values)) if value.surfaces]
    if len(rows) < 2:
        return None
    total, u95 = zip(*(_total_ua(surfaces) for _, surfaces in rows), strict=True)
    return charts.room_values([day for day, _ in rows], total, u95)


def _total_ua(surfaces: list[dict[str, Any]]) -> tuple[float, float]:
    return total_ua([doc.Surface.model_validate(surface) for surface in surfaces])


def _reduced_in(room: Room, request: BenchRequest) -> QuerySet[Session]:
    mine = access.visible(Session, request.user).filter(room=room, reductions__isnull=False)
    return mine.select_related("unit", "room", "bench").distinct()


@access.at_bench(to="edit")
def new(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Create a room."""
    return _edited(request, Room(bench=bench), bench)


@login_required
def edit(request: BenchRequest, room_id: UUID) -> HttpResponse:
    """Change a room's size or construction; its dated values have their own page."""
    room = access.fetch(Room, room_id, person=request.user, to="edit")
    return _edited(request, room, room.bench)


def _edited(request: BenchRequest, room: Room, bench: Bench) -> HttpResponse:
    form = RoomForm(request.POST or None, instance=room)
    if request.method == "POST" and form.is_valid():
        saved = actions.record(room=form.save(commit=False), bench=bench, by=request.user)
        return redirect("room", saved.pk)
    context: dict[str, Any] = {"form": form, "title": str(room) or "New room", "bench_of_thing": bench}
    return render(request, "units/thing_edit.html", context, status=422 if form.errors else 200)


@login_required
def new_value(request: BenchRequest, room_id: UUID) -> HttpResponse:
    """Write down what was found of a room from a day on."""
    room = access.fetch(Room, room_id, person=request.user, to="edit")
    data = request.POST if request.method == "POST" else None
    form = RoomValueForm(data, initial={"valid_from": timezone.localdate()})
    surfaces = SurfaceFormSet(data, prefix="surfaces", initial=[] if data else [{"to": "outdoor"}])
    if data is not None and all([form.is_valid(), surfaces.is_valid()]):
        value = form.save(commit=False)
        actions.record_value(room=room, value=value, surfaces=surfaces.surfaces, by=request.user)
        messages.success(request, f"Valid from {value.valid_from:%-d %B %Y}; earlier tests keep the values they had.")
        return redirect("room", room.pk)
    context = {"room": room, "form": form, "surfaces": surfaces}
    return render(request, "units/room_value.html", context, status=422 if data else 200)


@login_required
@require_POST
def take_characterisation(request: BenchRequest, room_id: UUID, reduction_id: UUID) -> HttpResponse:
    """Take over what a characterisation run found."""
    room = access.fetch(Room, room_id, person=request.user, to="edit")
    reduction = access.fetch(Reduction, reduction_id, person=request.user, to="edit")
    if reduction.session.room_id != room.pk:
        messages.error(request, "That run was made in another room.")
        return redirect("room", room.pk)
    try:
        value = actions.take_characterisation(room=room, reduction=reduction, by=request.user)
        messages.success(request, f"Taken over, valid from {value.valid_from:%-d %B %Y}.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("room", room.pk)
