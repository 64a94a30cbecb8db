"""A measured point brought to a rating condition: published maps, own slopes shrunk towards them, honest width.

ln q = level + ln f_map(x, y) + s_x (x − x_ref) + s_y (y − y_ref), with x the room's wet bulb (not below where the coil
goes dry) and y the outdoor temperature. The slopes s are how far this unit departs from a published map: zero give or
take PRIOR per kelvin before it has points of its own, so a correction widens with distance and narrows with points.
Several maps are mixed by how well they explain the unit's points; their spread is part of the uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from reduction.balance.coil import CoilTemp, working_wet_bulb_c
from reduction.ground.constants import BTU_PER_H_PER_W, STANDARD_PRESSURE_PA
from reduction.ground.moist_air import (
    enthalpy_j_per_kg,
    humidity_ratio_from_wet_bulb,
    saturation_humidity_ratio,
)
from reduction.judge.surfaces import PerformanceMap, maps_for
from reduction.session import Condition, Limit, Measured, RatingCorrection, UnitKind

FloatArray = NDArray[np.float64]
Quantity = Literal["capacity", "power", "eer"]

# Standard deviation of a unit's own slope about a published map, per kelvin of wet bulb and of outdoor temperature:
# by how much the published maps of unlike machines differ among themselves; common practice, no source.
PRIOR: dict[Quantity, tuple[float, float]] = {
    "capacity": (0.004, 0.002),
    "power": (0.006, 0.003),
    "eer": (0.006, 0.003),
}
FULL_SPEED = ("at full speed", "cannot tell")
NOT_REDUCIBLE = ("unit off", "not steady", "cycling", "coil near freezing")


@dataclass(frozen=True)
class RatedPoint:
    """What a point offers to a correction: figures with standard uncertainties, its condition, what limited it.

    `capacity` is the total; where only the sensible part was measured, with what may have condensed unseen added and
    its doubt in u. `outdoor_temp_c` is at the condenser inlet where that is measured.
    """

    kind: UnitKind
    capacity: Measured
    power: Measured
    room_temp_c: Measured
    room_wet_bulb_c: Measured | None
    outdoor_temp_c: Measured
    limit: Limit
    coil: CoilTemp | None = None
    supply_temp_c: float | None = None
    pressure_pa: float = STANDARD_PRESSURE_PA

    @cached_property
    def wet_bulb(self) -> Measured:
        """Wet bulb to enter a map with: interval of the dry-coil value and the sensors' doubt in one u."""
        known = self.room_wet_bulb_c
        low, high = working_wet_bulb_c(
            self.room_temp_c.value, known.value if known else None, self.coil, self.pressure_pa
        )
        spread = (high - low) / np.sqrt(12.0)
        return Measured(value=0.5 * (low + high), u=float(np.hypot(spread, known.u if known else 0.0)))

    def figure(self, quantity: Quantity) -> Measured:
        """Return the capacity [W], power [W] or EER [Btu/(W·h)]."""
        if quantity != "eer":
            return self.capacity if quantity == "capacity" else self.power
        eer = BTU_PER_H_PER_W * self.capacity.value / self.power.value
        relative = np.hypot(self.capacity.u / self.capacity.value, self.power.u / self.power.value)
        return Measured(value=eer, u=float(eer * relative))


def rating_correction(points: Sequence[RatedPoint], condition: Condition, name: str = "") -> RatingCorrection | None:
    """Bring the points of one unit, all at one speed, to a rating condition: one figure from all of them.

    None where a point's state says that no map applies (off, unsteady, cycling, coil near freezing: see
    `air_side_ceiling_w`) or the condition lacks a temperature.

    References
    ----------
    Biquadratic maps of `data/capacity_surfaces.csv`; generalised least squares with a prior (JCGM 107 in spirit).
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


def map_value(each: PerformanceMap, quantity: Quantity, wet_bulb_c: float, outdoor_temp_c: float) -> float:
    """Return a map's capacity, power or EER relative to its own rating."""
    capacity = each.relative_capacity(wet_bulb_c, outdoor_temp_c)
    if quantity == "capacity":
        return capacity
    power = each.relative_power(wet_bulb_c, outdoor_temp_c)
    return power if quantity == "power" else capacity / power


def _at_reference(points: Sequence[RatedPoint], reference: tuple[float, float], quantity: Quantity) -> Measured:
    logs, variances, evidence = _mixture(points, reference, quantity)
    log, variance = _mixed(logs, variances, evidence)
    return Measured(value=float(np.exp(log)), u=float(np.exp(log) * np.sqrt(variance)))


def _model_u(points: Sequence[RatedPoint], reference: tuple[float, float], quantity: Quantity) -> float:
    """Relative u that the maps, the prior and the conditions add to the figures' own."""
    exact = [_without_own_u(point) for point in points]
    return float(np.sqrt(_mixed(*_mixture(exact, reference, quantity))[1]))


def _without_own_u(point: RatedPoint) -> RatedPoint:
    capacity, power = (Measured(value=figure.value, u=0.0) for figure in (point.capacity, point.power))
    return replace(point, capacity=capacity, power=power)


def _mixture(
    points: Sequence[RatedPoint], reference: tuple[float, float], quantity: Quantity
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return ln q at the reference, its variance and the log evidence by map, each of shape (maps,)."""
    solved = [_solve(points, each, reference, quantity) for each in maps_for(points[0].kind)]
    logs, variances, evidence = (np.array(column) for column in zip(*solved, strict=True))
    return logs, variances, evidence


def _mixed(logs: FloatArray, variances: FloatArray, evidence: FloatArray) -> tuple[float, float]:
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    mean = float(weights @ logs)
    return mean, float(weights @ (variances + (logs - mean) ** 2))


def _solve(
    points: Sequence[RatedPoint], each: PerformanceMap, reference: tuple[float, float], quantity: Quantity
) -> tuple[float, float, float]:
    """Generalised least squares of (level, slope in x, slope in y) with the slopes' prior; level at the reference."""
    figures = [point.figure(quantity) for point in points]
    wet_bulbs = [point.wet_bulb for point in points]
    outdoor = [point.outdoor_temp_c for point in points]
    pairs = list(zip(wet_bulbs, outdoor, strict=True))
    logs = np.array([_log_map(each, quantity, x.value, y.value) for x, y in pairs])
    x_slope = [_slope(each, quantity, x.value, y.value, 0.5, 0.0) for x, y in pairs]
    y_slope = [_slope(each, quantity, x.value, y.value, 0.0, 0.5) for x, y in pairs]
    observed = np.array([np.log(figure.value) for figure in figures]) - logs + _log_map(each, quantity, *reference)
    noise = [
        (figure.u / figure.value) ** 2 + (dx * x.u) ** 2 + (dy * y.u) ** 2 + 1e-12
        for figure, (x, y), dx, dy in zip(figures, pairs, x_slope, y_slope, strict=True)
    ]
    offsets = [(1.0, x.value - reference[0], y.value - reference[1]) for x, y in pairs]
    design, weight = np.array(offsets), 1.0 / np.array(noise)
    prior = np.diag([1e-12, *(1.0 / sd**2 for sd in PRIOR[quantity])])
    precision = design.T * weight @ design + prior
    covariance = np.linalg.inv(precision)
    theta = covariance @ (design.T * weight @ observed)
    misfit = weight @ (observed - design @ theta) ** 2 + theta @ prior @ theta
    return float(theta[0]), float(covariance[0, 0]), float(-0.5 * misfit)


def _log_map(each: PerformanceMap, quantity: Quantity, wet_bulb_c: float, outdoor_temp_c: float) -> float:
    return float(np.log(map_value(each, quantity, wet_bulb_c, outdoor_temp_c)))


def _slope(each: PerformanceMap, quantity: Quantity, x: float, y: float, dx: float, dy: float) -> float:
    """Slope of the map's logarithm along one axis: central difference over 2 × 0.5 K."""
    return _log_map(each, quantity, x + dx, y + dy) - _log_map(each, quantity, x - dx, y - dy)


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
