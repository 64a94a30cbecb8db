"""Sessions: made, described, moved here, removed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from pydantic import TypeAdapter, ValidationError

from reduction import session as doc
from reduction.errors import InvalidSession, Place
from tests_app.actions import decisions, mapping
from tests_app.actions.quotas import require_room
from tests_app.actions.reading import storable
from tests_app.models import Session
from units.models import Bench, Person, Room, Unit


class UnitFacts(doc.Document):
    """What a session knows of the unit beyond the catalogue."""

    measured_air_flow_m3_per_h: doc.Positive | None = None
    measured_air_flow_u95_m3_per_h: doc.NonNegative | None = None
    bypass_factor: tuple[float, float] = doc.UnitUnderTest.model_fields["bypass_factor"].default
    ducts: doc.Ducts = doc.Ducts()


FACTS: dict[str, TypeAdapter] = {
    "fixed_loads": TypeAdapter(tuple[doc.FixedLoad, ...]),
    "people": TypeAdapter(tuple[doc.People, ...]),
    "solar": TypeAdapter(tuple[doc.Solar, ...]),
    "moisture": TypeAdapter(doc.Moisture),
    "events": TypeAdapter(tuple[doc.Event, ...]),
    "reduction_settings": TypeAdapter(doc.Settings),
    "heater_kind": TypeAdapter(doc.HeaterKind),
    "unit_facts": TypeAdapter(UnitFacts),
    "notes": TypeAdapter(str),
}


@transaction.atomic
def create(
    *,
    bench: Bench,
    name: str,
    unit: Unit | None = None,
    room: Room | None = None,
    purpose: str = "cooling",
    time_zone: str = "UTC",
    rule: doc.DecisionRule | None = None,
    by: Person,
) -> Session:
    """Make an empty session on the bench, with its decision rule where one is chosen; synthetic as unit or bench is."""
    require_room(bench=bench, name=name, sessions=1)
    session = Session.objects.create(
        bench=bench,
        name=name,
        unit=unit,
        room=room,
        purpose=purpose,
        time_zone=time_zone,
        is_synthetic=bench.is_synthetic or (unit is not None and unit.is_synthetic),
        created_by=by,
    )
    if rule is not None:
        decisions.choose(session=session, rule=rule, by=by)
    return session


@transaction.atomic
def describe(*, session: Session, by: Person, **fields: Any) -> Session:
    """Change name, unit, room, purpose, zone or notes of a session; in another zone its files are read again."""
    is_moved = fields.get("time_zone", session.time_zone) != session.time_zone
    for name, value in fields.items():
        setattr(session, name, value)
    session.save(update_fields=[*fields, "updated_at"])
    if is_moved:
        mapping.read_again(session=session, by=by)
    return session


def state_facts(*, session: Session, facts: Mapping[str, Any], by: Person) -> Session:
    """Keep what the tester knows beside the logs: loads, people, sun, water, events, settings; all or nothing."""
    checked = {name: _checked(session, name, value) for name, value in facts.items()}
    return describe(session=session, by=by, **checked)


def _checked(session: Session, name: str, value: Any) -> Any:
    adapter = FACTS[name]
    try:
        return storable(adapter.dump_python(adapter.validate_python(value), mode="json", exclude_defaults=True))
    except ValidationError as error:
        first = error.errors()[0]
        raise InvalidSession(
            place=Place(session.name, column=".".join([name, *map(str, first["loc"])])),
            found=str(first["input"])[:80],
            expected=first["msg"].lower(),
            remedy="Correct this entry; nothing was saved.",
        ) from error


def remove(*, session: Session, by: Person) -> None:
    """Remove a session that was never reduced; one that was is evidence and stays."""
    if session.reductions.exists():
        raise InvalidSession(
            place=Place(session.name),
            found="a reduced session",
            expected="a session without results",
            remedy="Results and their evidence stay; leave the session out of reviews instead.",
        )
    session.delete()
