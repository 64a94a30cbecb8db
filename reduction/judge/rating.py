"""A measured point brought to a rating condition by the unit's own surface, see `own_surface`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reduction.ground.moist_air import (
    enthalpy_j_per_kg,
    humidity_ratio_from_wet_bulb,
    saturation_humidity_ratio,
)
from reduction.judge.own_surface import NOT_REDUCIBLE, surface_at
from reduction.judge.rated_point import Quantity, RatedPoint
from reduction.judge.surfaces import maps_for
from reduction.session import Condition, Measured, RatingCorrection


def rating_correction(points: Sequence[RatedPoint], condition: Condition, name: str = "") -> RatingCorrection | None:
    """Bring the points of one unit, all at one speed, to a rating condition: one figure from all of them.

    None where a point's state says that no map applies (off, unsteady, cycling, coil near freezing: see
    `air_side_ceiling_w`) or the condition lacks a temperature.

    References
    ----------
    As `own_surface.fitted_surface`.
    """
    if any(point.limit.verdict in NOT_REDUCIBLE for point in points) or not points:
        return None
    if condition.room_wet_bulb_c is None or condition.outdoor_temp_c is None:
        return None
    reference = (condition.room_wet_bulb_c, condition.outdoor_temp_c)
    capacity, power, eer = (_at_reference(points, reference, quantity) for quantity in ("capacity", "power", "eer"))
    first = points[0]
    return RatingCorrection(
        condition=name or condition.name,
        capacity_w=capacity.value,
        capacity_u95_w=2.0 * capacity.u,
        power_w=power.value,
        power_u95_w=2.0 * power.u,
        eer_btu_per_wh=eer.value,
        eer_u95=2.0 * eer.u,
        factor=capacity.value / first.capacity.value,
        model_u95_fraction=2.0 * _model_u(points, reference, "capacity"),
        how=_how(points, reference),
    )


def correction_factor(point: RatedPoint, reference: tuple[float, float], quantity: Quantity = "capacity") -> Measured:
    """Return by what a single point's figure is multiplied to stand at (wet bulb, outdoor) [°C], with its model u."""
    figure = point.figure(quantity)
    at = _at_reference([point], reference, quantity)
    return Measured(value=at.value / figure.value, u=_model_u([point], reference, quantity) * at.value / figure.value)


def air_side_ceiling_w(point: RatedPoint, condition: Condition) -> float | None:
    """Return the most [W] the point's air flow can carry at a condition with supply air no colder than it was.

    The air flow is the one that carried the measured capacity; at the condition the supply air is saturated at the
    measured supply temperature. None without a supply temperature below the room's.
    """
    supply, room = point.supply_temp_c, point.room_temp_c.value
    if supply is None or supply >= room or condition.room_temp_c is None or condition.room_wet_bulb_c is None:
        return None
    wet_bulb = point.room_wet_bulb_c.value if point.room_wet_bulb_c else None
    rated = _drop_j_per_kg(condition.room_temp_c, condition.room_wet_bulb_c, supply, point.pressure_pa)
    measured = _drop_j_per_kg(room, wet_bulb, supply, point.pressure_pa)
    return (point.capacity.value + 2.0 * point.capacity.u) * rated / measured


def _drop_j_per_kg(room_temp_c: float, wet_bulb_c: float | None, supply_temp_c: float, pressure_pa: float) -> float:
    """Enthalpy that air gives up [J/kg] from a room to a supply no wetter than saturated; unknown humidity: dry."""
    saturated = float(saturation_humidity_ratio(supply_temp_c, pressure_pa))
    ratio = (
        saturated if wet_bulb_c is None else float(humidity_ratio_from_wet_bulb(room_temp_c, wet_bulb_c, pressure_pa))
    )
    return float(enthalpy_j_per_kg(room_temp_c, ratio) - enthalpy_j_per_kg(supply_temp_c, min(ratio, saturated)))


def _at_reference(points: Sequence[RatedPoint], reference: tuple[float, float], quantity: Quantity) -> Measured:
    (value,), (u,) = surface_at(points, np.array([reference]), quantity)
    return Measured(value=float(value), u=float(u))


def _model_u(points: Sequence[RatedPoint], reference: tuple[float, float], quantity: Quantity) -> float:
    """Relative u that the maps, the prior and the conditions add to the figures' own."""
    (value,), (u,) = surface_at(points, np.array([reference]), quantity, own_u=False)
    return float(u / value)


def _how(points: Sequence[RatedPoint], reference: tuple[float, float]) -> str:
    names = " and ".join(f"“{each.title}”" for each in maps_for(points[0].kind))
    places = [(point.wet_bulb.value, point.outdoor_temp_c.value) for point in points]
    far = max(each.outside_k(*place) for each in maps_for(points[0].kind) for place in places)
    parts = [f"Published maps {names}, mixed"]
    parts.append("own slopes from several points" if len(points) > 1 else "own slopes unknown")
    moved = points[0]
    parts.append(
        f"from {moved.wet_bulb.value:.1f} °C wet bulb and {moved.outdoor_temp_c.value:.1f} °C outdoors "
        f"to {reference[0]:.1f} and {reference[1]:.1f} °C"
    )
    if far > 0.0:
        parts.append(f"{far:.1f} K outside the range of the maps, held at their edge")
    if points[0].limit.verdict == "reduced speed":
        parts.append("at the reduced speed it ran at, not at full speed")
    return "; ".join(parts) + "."
