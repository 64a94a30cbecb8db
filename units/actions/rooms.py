"""What a tester does to a room."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.dateparse import parse_datetime

from units.models import Room, RoomValue

if TYPE_CHECKING:
    from tests_app.models import Reduction
    from units.models import Bench, Person


@transaction.atomic
def record(*, room: Room, bench: Bench, by: Person) -> Room:
    """Keep a room on its bench."""
    room.bench = bench
    room.save()
    return room


@transaction.atomic
def record_value(*, room: Room, value: RoomValue, surfaces: list[dict[str, Any]], by: Person) -> RoomValue:
    """Add what was found of a room from a day on; older values stay as they were."""
    value.room = room
    value.surfaces = surfaces
    value.save(force_insert=True)
    return value


@transaction.atomic
def take_characterisation(*, room: Room, reduction: Reduction, by: Person) -> RoomValue:
    """Add what a characterisation run found, valid from the day of the run."""
    fit = reduction.result.get("room_fit")
    if fit is None or not fit["identifiable"]:
        raise ValidationError(
            f"“{reduction.session}” does not tell this room's values: {fit['because'] if fit else 'no fit was made'}"
        )
    return RoomValue.objects.create(
        room=room,
        valid_from=(_first_sample(reduction) or reduction.reduced_at).date(),
        surfaces=fit["surfaces"],
        c_eff_j_per_k=fit["c_eff_j_per_k"],
        c_eff_u95_j_per_k=fit["c_eff_u95_j_per_k"],
        slow_mass=fit["slow_mass"],
        found_by=f"{fit['model']}, session “{reduction.session}”"[:200],
        found_in=reduction,
    )


def _first_sample(reduction: Reduction) -> Any:
    firsts = [channel["first"] for channel in reduction.result["channels"] if channel["first"]]
    return parse_datetime(min(firsts)) if firsts else None
