"""A unit's own performance surface: published maps, bent towards what its points show, with an honest width.

ln q = level + ln f_map(x, y) + s_x (x − x_0) + s_y (y − y_0), with x the room's wet bulb (not below where the coil
goes dry) and y the outdoor temperature. The slopes s are how far this unit departs from a published map: zero give or
take PRIOR per kelvin before it has points of its own, so the width grows with distance and shrinks with points.
Several maps are mixed by how well they explain the points; their spread is part of the width. Errors that points
share, of instruments and of the room, do not average out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reduction.judge.rated_point import Quantity, RatedPoint
from reduction.judge.surfaces import RATING_OUTDOOR_C, RATING_WET_BULB_C, PerformanceMap, maps_for

FloatArray = NDArray[np.float64]

# Standard deviation of a unit's own slope about a published map, per kelvin of wet bulb and of outdoor temperature:
# by how much the published maps of unlike machines differ among themselves; common practice, no source.
PRIOR: dict[Quantity, tuple[float, float]] = {
    "capacity": (0.004, 0.002),
    "power": (0.006, 0.003),
    "eer": (0.006, 0.003),
}
NOT_REDUCIBLE = ("unit off", "not steady", "cycling", "coil near freezing")
HALF_STEP_K = 0.5  # of the difference quotient of a map
TINY = 1e-12  # relative variance that keeps an exact figure from an infinite weight


@dataclass(frozen=True, eq=False)
class FittedSurface:
    """A unit's capacity, power and EER along outdoor temperature at one room state, with U95; arrays of shape (n,).

    `measured_c` is the span of outdoor temperature its points cover: beyond it the published maps lead.
    """

    outdoor_temp_c: FloatArray
    room_wet_bulb_c: float
    capacity_w: FloatArray
    capacity_u95_w: FloatArray
    power_w: FloatArray
    power_u95_w: FloatArray
    eer_btu_per_wh: FloatArray
    eer_u95: FloatArray
    measured_c: tuple[float, float]
    maps: tuple[str, ...]
    points: int


def fitted_surface(
    points: Sequence[RatedPoint], outdoor_temp_c: ArrayLike, room_wet_bulb_c: float
) -> FittedSurface | None:
    """Fit the points of one unit, all at one speed, and return the surface along outdoor temperature.

    Parameters
    ----------
    points
        At one speed: all at full speed, or those of one reduced level.
    outdoor_temp_c
        Where it is wanted, shape (n,). [°C]
    room_wet_bulb_c
        Of the room it is wanted for. [°C]

    Returns
    -------
    FittedSurface | None
        None without points, or where the state of one says that no map applies to it.

    References
    ----------
    Biquadratic maps of `data/capacity_surfaces.csv`; regularised least squares with the full covariance of the
    points propagated, JCGM 100:2008, 5.2.2 and F.1.2.3.

    Examples
    --------
    >>> from reduction.session import Limit, Measured, UnitKind
    >>> full = Limit(verdict="at full speed", because="")
    >>> known = {"kind": UnitKind.WINDOW, "power": Measured(value=900.0, u=4.0), "limit": full}
    >>> room = {"room_temp_c": Measured(value=26.7, u=0.1), "room_wet_bulb_c": Measured(value=19.4, u=0.2)}
    >>> capacities = ((28.0, 2750.0), (35.0, 2550.0))
    >>> points = [
    ...     RatedPoint(**known, **room, outdoor_temp_c=Measured(value=y, u=0.2), capacity=Measured(value=q, u=30.0))
    ...     for y, q in capacities
    ... ]
    >>> surface = fitted_surface(points, [28.0, 35.0, 40.0], 19.4)
    >>> surface.capacity_w.round(-1).tolist(), surface.capacity_u95_w.round(-1).tolist()
    ([2740.0, 2560.0, 2410.0], [70.0, 60.0, 80.0])
    """
    if not points or any(point.limit.verdict in NOT_REDUCIBLE for point in points):
        return None
    outdoor = np.asarray(outdoor_temp_c, dtype=np.float64)
    places = np.column_stack([np.full_like(outdoor, room_wet_bulb_c), outdoor])
    (capacity, capacity_u), (power, power_u), (eer, eer_u) = (
        surface_at(points, places, quantity) for quantity in ("capacity", "power", "eer")
    )
    covered = [point.outdoor_temp_c.value for point in points]
    return FittedSurface(
        outdoor_temp_c=outdoor,
        room_wet_bulb_c=room_wet_bulb_c,
        capacity_w=capacity,
        capacity_u95_w=2.0 * capacity_u,
        power_w=power,
        power_u95_w=2.0 * power_u,
        eer_btu_per_wh=eer,
        eer_u95=2.0 * eer_u,
        measured_c=(min(covered), max(covered)),
        maps=tuple(each.title for each in maps_for(points[0].kind)),
        points=len(points),
    )


def surface_at(
    points: Sequence[RatedPoint], places: FloatArray, quantity: Quantity, *, own_u: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Return a quantity of the fitted surface and its u at places (wet bulb, outdoor), shapes (n, 2) to (n,), (n,).

    Without `own_u` the points' figures are taken as exact: what maps, slopes and conditions leave open.
    """
    known = _known(points, quantity, own_u)
    solved = [_fitted(known, each, places, quantity) for each in maps_for(points[0].kind)]
    logs, variances = (np.array([solution[i] for solution in solved]) for i in (0, 1))
    evidence = np.array([solution[2] for solution in solved])
    weights = np.exp(evidence - evidence.max())
    weights /= weights.sum()
    mean = weights @ logs
    value = np.exp(mean)
    return value, value * np.sqrt(weights @ (variances + (logs - mean) ** 2))


def map_value(each: PerformanceMap, quantity: Quantity, wet_bulb_c: float, outdoor_temp_c: float) -> float:
    """Return a map's capacity, power or EER relative to its own rating."""
    capacity = each.relative_capacity(wet_bulb_c, outdoor_temp_c)
    if quantity == "capacity":
        return capacity
    power = each.relative_power(wet_bulb_c, outdoor_temp_c)
    return power if quantity == "power" else capacity / power


@dataclass(frozen=True, eq=False)
class _Known:
    """What points say of a quantity whatever the map: places, (n, 2), with u; figures; relative errors."""

    at: FloatArray
    at_u: FloatArray
    figures: FloatArray
    shared: FloatArray
    own: FloatArray


def _known(points: Sequence[RatedPoint], quantity: Quantity, own_u: bool) -> _Known:
    """Return what points say; without `own_u` as if their figures were exact."""
    conditions = [(point.wet_bulb, point.outdoor_temp_c) for point in points]
    figures = [point.figure(quantity) for point in points]
    keyed = [point.common.get(quantity, {}) for point in points]
    keys = sorted(set().union(*keyed)) if len(points) > 1 and own_u else []
    shared = np.array([[errors.get(key, 0.0) for key in keys] for errors in keyed]).reshape(len(points), len(keys))
    total = np.array([(figure.u / figure.value) ** 2 if own_u else 0.0 for figure in figures])
    return _Known(
        at=np.array([[each.value for each in pair] for pair in conditions]),
        at_u=np.array([[each.u for each in pair] for pair in conditions]),
        figures=np.array([figure.value for figure in figures]),
        shared=shared,
        own=np.maximum(total - (shared**2).sum(axis=1), 0.0),
    )


def _fitted(
    known: _Known, each: PerformanceMap, places: FloatArray, quantity: Quantity
) -> tuple[FloatArray, FloatArray, float]:
    """Return ln q and its variance at the places, and the log evidence, of one map.

    Weights are by each point's own variance; what points share enters the variance alone, so that a shared error is
    never traded between points. The conditions are read by the same thermometers in every point: their errors are
    shared, as large as the map is steep there.
    """
    at, own = known.at, known.own
    steps = HALF_STEP_K * np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    above, below = _log_map(each, quantity, (at + steps[:, None]).reshape(-1, 2)).reshape(2, 2, len(at))
    shared = np.hstack([(above - below).T * known.at_u, known.shared])
    weight = 1.0 / (own + (shared**2).sum(axis=1) + TINY)
    design = _design(at)
    prior = np.diag([TINY, *(1.0 / sd**2 for sd in PRIOR[quantity])])
    inverse = np.linalg.inv(design.T * weight @ design + prior)
    gain = inverse @ design.T * weight
    observed = np.log(known.figures) - _log_map(each, quantity, at)
    theta = gain @ observed
    common = shared @ shared.T
    np.fill_diagonal(common, 0.0)
    covariance = inverse + gain @ common @ gain.T
    misfit = weight @ (observed - design @ theta) ** 2 + theta @ prior @ theta
    there = _design(places)
    variance = np.einsum("ni,ij,nj->n", there, covariance, there)
    return there @ theta + _log_map(each, quantity, places), np.maximum(variance, 0.0), float(-0.5 * misfit)


def _design(places: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(len(places)), places - np.array([RATING_WET_BULB_C, RATING_OUTDOOR_C])])


def _log_map(each: PerformanceMap, quantity: Quantity, places: FloatArray) -> FloatArray:
    """Return the logarithm of `map_value` at places (wet bulb, outdoor), shape (n, 2) to (n,)."""
    low, high = np.array([each.wet_bulb_range_c, each.outdoor_range_c]).T
    inside: FloatArray = np.minimum(np.maximum(places, low), high)
    x, y = inside[:, 0], inside[:, 1]
    capacity, eir = (
        np.log(surface(x, y) / surface(RATING_WET_BULB_C, RATING_OUTDOOR_C)) for surface in (each.capacity, each.eir)
    )
    return {"capacity": capacity, "power": capacity + eir, "eer": -eir}[quantity]
