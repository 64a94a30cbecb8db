"""A unit's season from its measured points: which inputs were measured, which are bounded, and what that makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import hypot, sqrt

import numpy as np

from reduction.balance.coil import CoilTemp
from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.ground.tables import table
from reduction.judge.claims import named_condition
from reduction.judge.explain import UNSEEN
from reduction.judge.own_surface import fitted_surface
from reduction.judge.rated_point import RatedPoint, shared_errors
from reduction.judge.rating import rating_correction
from reduction.season.ceer import ceer, variable_speed_ceer
from reduction.season.duct_costs import Ducted, with_ducts
from reduction.season.portable import portable_figures
from reduction.season.procedures import published_seasons
from reduction.season.seasonal import CYCLING_LOSS, Bins, Cost, Season, bin_season, seasonal_cost
from reduction.session import (
    Compressor,
    Measured,
    Point,
    RatingCorrection,
    SeasonFigure,
    SeasonInput,
    UnitKind,
)

STANDBY_BOUNDS_W = (0.3, 3.0)  # of a room unit with remote control or radio, common practice, no source
CYCLING_LOSS_BOUNDS = (0.10, 0.25)  # measured single units to the standards' default, common practice, no source
LOW_SHARE = (0.47, 0.57)  # low-speed capacity over full, Appendix F test 4, from memory
MIDDLE_SHARE = (0.57, 0.90)  # between low and full: what may stand for test 3


@dataclass(frozen=True)
class OwnSeason:
    """A season in the reader's climate: efficiency and cost, the cost as an interval."""

    efficiency: SeasonFigure
    season: Season
    cost: Cost
    cost_interval: tuple[float, float]


def rated_point(point: Point, kind: UnitKind) -> RatedPoint | None:
    """Return what a stored point offers to a correction; None where it is not usable or its condition is not known.

    What may have condensed unseen is taken from its shortfall, so a sensible point stands as in its own ratings.
    """
    room, outdoor = point.conditions.get("room_temp_c"), point.conditions.get("condenser_inlet_temp_c")
    outdoor = outdoor or point.conditions.get("outdoor_temp_c")
    if (
        not point.usable
        or room is None
        or outdoor is None
        or point.cop is None
        or point.capacity_w <= point.capacity_u95_w
    ):
        return None
    unseen = next((step for step in point.shortfall if step.name == UNSEEN), None)
    hidden, hidden_u = (-unseen.value_w, unseen.u_w) if unseen else (0.0, 0.0)
    supply = point.conditions.get("supply_temp_c")
    return RatedPoint(
        kind=kind,
        capacity=Measured(value=point.capacity_w + hidden, u=hypot(point.capacity_u_w, hidden_u)),
        power=Measured(value=point.power_w, u=point.power_u95_w / 2.0),
        room_temp_c=room,
        room_wet_bulb_c=point.conditions.get("room_wet_bulb_c"),
        outdoor_temp_c=outdoor,
        limit=point.limit,
        coil=CoilTemp(*point.limit.coil_temp_c) if point.limit.coil_temp_c else None,
        supply_temp_c=supply.value if supply else None,
        common=shared_errors(point, point.capacity_w + hidden),
    )


def seasonal_figures(
    points: Sequence[Point], kind: UnitKind, compressor: Compressor = Compressor.UNKNOWN
) -> tuple[SeasonFigure, ...]:
    """Return the seasonal figures that a session's points give by published procedures; empty where they give none."""
    rated = [(each, point.ducted) for point in points if (each := rated_point(point, kind))]
    ducted = [both for each, ducts in rated if (both := with_ducts(each, ducts))]
    return procedure_figures([each for each, _ in rated], kind, standby_of(points), compressor, ducted)


def procedure_figures(
    rated: Sequence[RatedPoint],
    kind: UnitKind,
    standby: Measured | None = None,
    compressor: Compressor = Compressor.UNKNOWN,
    ducted: Sequence[Ducted] = (),
) -> tuple[SeasonFigure, ...]:
    """Return the figures of every published procedure that holds for a kind of unit, from points of any sessions."""
    ceers = [us_ceer(rated, standby, compressor)] if kind in (UnitKind.WINDOW, UnitKind.THROUGH_WALL) else []
    seasons = published_seasons(levels_of_rated(rated), kind, standby_input(standby), compressor)
    portable = portable_figures(ducted, kind, standby_input(standby), compressor)
    return (*(figure for figure in ceers if figure), *seasons, *portable)


def levels_of(points: Sequence[Point], kind: UnitKind) -> list[list[RatedPoint]]:
    """Return the levels of a unit for `own_season`, lowest first: each reduced speed alone, full speed from all."""
    return levels_of_rated([each for point in points if (each := rated_point(point, kind))])


def levels_of_rated(rated: Sequence[RatedPoint]) -> list[list[RatedPoint]]:
    """Return the same of points as they are offered to a correction."""
    reduced = [[each] for each in rated if each.limit.verdict == "reduced speed"]
    full = [each for each in rated if each.limit.verdict == "at full speed"]
    return [*sorted(reduced, key=lambda level: level[0].capacity.value), *([full] if full else [])]


def standby_of(points: Sequence[Point]) -> Measured | None:
    """Return the standby power [W] from windows in which the unit was off, or None."""
    off = [point for point in points if point.limit.verdict == "unit off" and point.cop is not None]
    if not off:
        return None
    best = min(off, key=lambda point: point.power_u95_w)
    return Measured(value=best.power_w, u=best.power_u95_w / 2.0)


def us_ceer(
    points: Sequence[RatedPoint], standby: Measured | None = None, compressor: Compressor = Compressor.UNKNOWN
) -> SeasonFigure | None:
    """Return the CEER a unit's points give by the US procedure; None without a point at full speed.

    A variable-speed unit gets its adjustment only where points at an intermediate and at a low level stand in; else
    the figure is that of a single-speed unit, a lower bound, and says so.

    References
    ----------
    10 CFR 430 Subpart B Appendix F (86 FR 16446), 5.2 and 5.3: weights in `data/ceer_tests.csv`.
    """
    full = [point for point in points if point.limit.verdict == "at full speed"]
    rated = rating_correction(full, named_condition("us_room_95f"))
    if rated is None:
        return None
    idle = standby_input(standby)
    fixed = compressor is Compressor.FIXED_SPEED
    levels = None if fixed else _levels(points, full, rated)
    tests = [rated] if levels is None else levels
    inputs = (*(_test_input(test) for test in tests), idle)
    if fixed:
        because = "One test at 95 °F with standby, as for every single-speed unit."
    elif levels is None:
        because = "Tests at 82 and 87 °F at reduced speed are missing: rated as single speed, a lower bound."
    else:
        because = "Four tests of the variable-speed procedure, each brought to its condition by published maps."
    value, u = _ceer_with_u(tests, idle)
    return SeasonFigure(
        name="CEER", value=value, u95=2.0 * u, quantity_unit="Btu/(W·h)", inputs=inputs, because=because
    )


def own_season(
    levels: Sequence[Sequence[RatedPoint]],
    bins: Bins,
    load_w: np.ndarray,
    *,
    room_wet_bulb_c: float,
    price_per_kwh: float,
    standby: Measured | None = None,
    standby_hours: float = 0.0,
) -> OwnSeason | None:
    """Return the season of a unit in a climate of the reader's own; None where no level can be brought to the bins.

    Parameters
    ----------
    levels
        Points of each speed, lowest first; each is carried to every bin by the published maps.
    load_w
        The room's load in each bin, shape (n,). [W]
    room_wet_bulb_c
        Of the reader's room.
    """
    curves = [_curve(points, bins, room_wet_bulb_c) for points in levels]
    if not curves or any(curve is None for curve in curves):
        return None
    capacity, power, power_u = (np.array(each) for each in zip(*(c for c in curves if c is not None), strict=True))
    idle, loss = standby_input(standby), _cycling_loss()
    season = bin_season(bins, load_w, capacity, power, loss.value)
    cases = [
        (bin_season(bins, load_w, capacity, power + sign * power_u, bound), max(0.0, idle.value + sign * idle.u))
        for sign, bound in product((-2.0, 2.0), CYCLING_LOSS_BOUNDS)
    ]
    because = f"{bins.hours.sum():.0f} h of climate, room at {room_wet_bulb_c:.1f} °C wet bulb, {len(levels)} level(s)."
    figure = _seasonal_efficiency(season.ratio, [each.ratio for each, _ in cases], (loss, idle), because)
    totals = [seasonal_cost(each, price_per_kwh, watts, standby_hours).total for each, watts in cases]
    cost = seasonal_cost(season, price_per_kwh, idle.value, standby_hours)
    return OwnSeason(figure, season, cost, (min(totals), max(totals)))


def _seasonal_efficiency(
    ratio: float, ratios: Sequence[float], inputs: tuple[SeasonInput, ...], because: str
) -> SeasonFigure:
    return SeasonFigure(
        name="seasonal efficiency",
        value=BTU_PER_H_PER_W * ratio,
        u95=BTU_PER_H_PER_W * (max(ratios) - min(ratios)) / 2.0,
        quantity_unit="Btu/(W·h)",
        inputs=inputs,
        because=because,
    )


def _cycling_loss() -> SeasonInput:
    low, high = CYCLING_LOSS_BOUNDS
    because = f"not measured: {low:g} of good single units to the standards' {CYCLING_LOSS:g}"
    return _input("cycling loss C_D", (low + high) / 2.0, (high - low) / sqrt(12.0), "1", because, measured=False)


def _curve(
    points: Sequence[RatedPoint], bins: Bins, wet_bulb_c: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    surface = fitted_surface(points, bins.outdoor_temp_c, wet_bulb_c)
    if surface is None:
        return None
    # Efficiency, not power alone, is what a season's energy follows: its u is carried on the power.
    relative_u = surface.eer_u95 / surface.eer_btu_per_wh / 2.0
    return surface.capacity_w, surface.power_w, surface.power_w * relative_u


def _levels(
    points: Sequence[RatedPoint], full: Sequence[RatedPoint], rated: RatingCorrection
) -> list[RatingCorrection] | None:
    """Return the four tests of a variable-speed unit, or None where a level is missing."""
    found: list[RatingCorrection] = [rated]
    second = rating_correction(full, named_condition("us_room_92f"))
    reduced = [point for point in points if point.limit.verdict == "reduced speed"]
    for row, shares in zip(table("ceer_tests")[2:], (MIDDLE_SHARE, LOW_SHARE), strict=True):
        condition = named_condition(row["condition"])
        fitting = [each for point in reduced if (each := rating_correction([point], condition))]
        fitting = [each for each in fitting if shares[0] <= each.capacity_w / rated.capacity_w <= shares[1]]
        if not fitting:
            return None
        found.append(min(fitting, key=lambda each: each.eer_u95))
    return [found[0], second, *found[1:]] if second else None


def _ceer_with_u(tests: Sequence[RatingCorrection], idle: SeasonInput) -> tuple[float, float]:
    """Return CEER and its u: efficiency errors of the tests are of one instrument and map, so they add linearly."""
    values = [(t.capacity_w * BTU_PER_H_PER_W, t.power_w) for t in tests]
    worse = [(c, p * (1.0 + t.eer_u95 / t.eer_btu_per_wh / 2.0)) for (c, p), t in zip(values, tests, strict=True)]
    value = _ceer(values, idle.value)
    by_tests, by_idle = value - _ceer(worse, idle.value), value - _ceer(values, idle.value + idle.u)
    return value, sqrt(by_tests**2 + by_idle**2)


def _ceer(tests: Sequence[tuple[float, float]], standby_w: float) -> float:
    return ceer(*tests[0], standby_w) if len(tests) == 1 else variable_speed_ceer(tests, standby_w).ceer


def standby_input(standby: Measured | None) -> SeasonInput:
    """Return the power a unit waits with as an input: measured with the unit off, else bounded."""
    if standby is not None:
        return _input("standby power", standby.value, standby.u, "W", "window with the unit off", measured=True)
    low, high = STANDBY_BOUNDS_W
    because = f"not measured: {low:g} to {high:g} W is usual"
    return _input("standby power", (low + high) / 2.0, (high - low) / sqrt(12.0), "W", because, measured=False)


def _test_input(test: RatingCorrection) -> SeasonInput:
    because = f"{test.capacity_w:.0f} W with {test.power_w:.0f} W; {test.how}"
    u = test.eer_u95 / 2.0
    return _input(f"EER, {test.condition}", test.eer_btu_per_wh, u, "Btu/(W·h)", because, measured=True)


def _input(name: str, value: float, u: float, quantity_unit: str, because: str, *, measured: bool) -> SeasonInput:
    return SeasonInput(name=name, value=value, u=u, quantity_unit=quantity_unit, measured=measured, because=because)
