"""Attach a session's result to a unit."""

from __future__ import annotations

from tests_app.models import Session
from units.models import Person, Unit


def to_unit(*, session: Session, unit: Unit, by: Person) -> Session:
    """Say which unit was tested; points that are stored keep the unit they had, the next reduction takes this one."""
    session.unit = unit
    session.is_synthetic = session.is_synthetic or unit.is_synthetic
    session.save(update_fields=["unit", "is_synthetic", "updated_at"])
    return session
