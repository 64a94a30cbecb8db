"""Each unit's points and, between them, its fitted surface as a line along one condition."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from statistics import median_low
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from reduction.ground.moist_air import humidity_ratio, wet_bulb_c
from reduction.judge.own_surface import surface_at
from reduction.judge.rated_point import RatedPoint
from reduction.session import Measured, UnitKind
from units.compare.frames import points_frame
from units.compare.season import rated_row

if TYPE_CHECKING:
    from units.compare.points import PointRow, UnitRow

Place = Literal["outdoor", "room", "wet_bulb"]
PLACES: dict[Place, str] = {"outdoor": "outdoor_temp_c", "room": "room_temp_c", "wet_bulb": "room_wet_bulb_c"}
STOPS = 7  # a line's places; a map bends too little for more to be seen
LEAST_SPAN_K = 2.0  # of tested conditions, below which a line would show the sensors' scatter as a trend


def fitted_frame(rows: list[UnitRow], named: dict[Any, str], place: Place) -> pd.DataFrame:
    """Return the points as tested and, after them, each unit's fitted line along one condition."""
    points = points_frame(rows).assign(what="measured")
    lines = [line for row in rows for line in _line(row, named[row.unit.pk], place)]
    return pd.concat([points, pd.DataFrame(lines, columns=points.columns).astype(points.dtypes)], ignore_index=True)


def _line(row: UnitRow, name: str, place: Place) -> list[dict[str, Any]]:
    """Return the line's places from one end of what was tested to the other; none where that is one condition."""
    points = [point for point in row.points if getattr(point, PLACES[place]) is not None and _is_full(row, point)]
    rated = [(point, each) for point in points if (each := rated_row(point, UnitKind(row.unit.kind)))]
    tested = [getattr(point, PLACES[place]) for point, _ in rated]
    if not tested or max(tested) - min(tested) < LEAST_SPAN_K:
        return []
    stops = np.linspace(min(tested), max(tested), STOPS)
    held = _held([point for point, _ in rated], place, stops)
    if held is None:
        return []
    fitted = [each for _, each in rated]
    outdoor, room, wet_bulb = held
    states = dict.fromkeys(zip(room, wet_bulb, strict=True))  # one alone, where the line runs along the outdoors
    entered = {state: _entered(fitted[0], *state) for state in states}
    where = np.column_stack([[entered[state] for state in zip(room, wet_bulb, strict=True)], outdoor])
    capacity, capacity_u = surface_at(fitted, where, "capacity")
    eer, eer_u = surface_at(fitted, where, "eer")
    shared = {"unit": name, "kind": row.unit.get_kind_display(), "what": "fit", "capacity_kind": "total"}
    shared |= {"point": f"fit of {len(fitted)} points", "limit": ""}
    columns = {"capacity": capacity, "capacity_u95": 2.0 * capacity_u, "eer": eer, "eer_u95": 2.0 * eer_u}
    columns |= {"outdoor_temp_c": outdoor, "room_temp_c": room, "room_wet_bulb_c": wet_bulb}
    return [shared | dict(zip(columns, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]


def _is_full(row: UnitRow, point: PointRow) -> bool:
    """Say whether a point shows full ability: a fixed-speed unit of which nothing else is known runs at one speed."""
    return point.limit == "at full speed" or (point.limit == "cannot tell" and row.unit.compressor == "fixed_speed")


def _held(points: list[PointRow], place: Place, stops: np.ndarray) -> tuple[list[Any], ...] | None:
    """Return outdoor temperature, room temperature and room wet bulb along the line; the other two are held.

    Along room temperature the relative humidity is held, and where it is not known there is no line.
    """
    outdoor, room, wet_bulb = (_middle(getattr(point, field) for point in points) for field in PLACES.values())
    steady = [[each] * STOPS for each in (outdoor, room, wet_bulb)]
    if place == "room":
        humidity = _middle(point.room_rh_percent for point in points)
        if humidity is None:
            return None
        steady[2] = list(wet_bulb_c(stops, humidity_ratio(stops, np.full(STOPS, humidity))))
    steady[list(PLACES).index(place)] = list(stops)
    return tuple(steady)


def _middle(values: Iterable[float | None]) -> float | None:
    """Return the median of what is known, the lower of two: a state that a point was in, not one between two."""
    known = [value for value in values if value is not None]
    return median_low(known) if known else None


def _entered(point: RatedPoint, room_c: float, wet_bulb: float | None) -> float:
    """Return the wet bulb to enter the maps with, by the same rule as for a point: not below where the coil dries."""
    there = replace(
        point,
        room_temp_c=Measured(value=room_c, u=0.0),
        room_wet_bulb_c=None if wet_bulb is None else Measured(value=wet_bulb, u=0.0),
    )
    return there.wet_bulb.value
