"""The reference unit of a bench: run again and again, so that a rig that drifts is seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from reduction import session as doc
from reduction.repeats import RepeatSet, repeat_sets
from tests_app.models import Point
from units.models import Bench, Unit

CONDITIONS = ("room_temp_c", "room_wet_bulb_c", "outdoor_temp_c")
U95_PER_U = 2.0


@dataclass(frozen=True)
class Alarm:
    """A run of a reference unit outside the limits that the runs before it set. [W]"""

    unit: Unit
    point: Point
    low_w: float
    high_w: float


def runs_of(unit: Unit) -> list[Point]:
    """Return the unit's usable points that stand, in order of time."""
    points = Point.objects.current().filter(unit=unit, usable=True).select_related("reduction__session")
    return list(points.order_by("start").defer("detail", "reduction__document", "reduction__result"))


def repeats(points: Sequence[Point]) -> tuple[RepeatSet, ...]:
    """Return the sets of repeats among points in order of time, total and sensible capacities apart."""
    return repeat_sets(
        [_conditions(point) for point in points],
        [point.capacity_w for point in points],
        [point.capacity_u95_w / U95_PER_U for point in points],
    )


def _conditions(point: Point) -> dict[str, doc.Measured]:
    known = {name: getattr(point, name) for name in CONDITIONS}
    return {name: doc.Measured(value=value, u=0.0) for name, value in known.items() if value is not None}


def alarms_at(bench: Bench, when: datetime | None = None) -> list[Alarm]:
    """Return the reference units whose last run before an instant (or until now) was outside its limits."""
    alarms = []
    for unit in bench.units.filter(is_reference=True):
        for kind in ("total", "sensible"):
            points = [point for point in runs_of(unit) if point.capacity_kind == kind]
            alarms += _alarms(unit, [point for point in points if when is None or point.start < when])
    return alarms


def _alarms(unit: Unit, points: list[Point]) -> list[Alarm]:
    found = []
    for each in repeats(points):
        if each.control.outside[-1]:
            last = points[each.members[-1]]
            found.append(Alarm(unit, last, float(each.control.low[-1]), float(each.control.high[-1])))
    return found
