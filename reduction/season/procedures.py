"""Seasons by published procedures other than the US one for room units: ISO CSPF, European SEER, SEER by US bins.

Each figure keeps the procedure's own name, bins, load and unit of measure, so that none is taken for another or for an
EER. A tested unit's surface stands in for the laboratory's tests; the procedure's default stands in for C_D.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.judge.claims import named_condition
from reduction.judge.own_surface import fitted_surface
from reduction.judge.rated_point import RatedPoint
from reduction.season.seasonal import (
    AHRI_NO_LOAD_C,
    AHRI_OVERSIZE,
    AHRI_RATED_C,
    CYCLING_LOSS,
    EU_DESIGN_C,
    EU_NO_LOAD_C,
    ISO_FULL_LOAD_C,
    ISO_NO_LOAD_C,
    bin_season,
    eu_seer,
    load_line,
    published_bins,
)
from reduction.session import Compressor, Condition, Measured, SeasonFigure, SeasonInput, UnitKind

FloatArray = NDArray[np.float64]

THERMOSTAT_OFF_BOUNDS_W = (1.0, 30.0)  # fan stopped or running on its lowest step; common practice, no source


@dataclass(frozen=True)
class Procedure:
    """A published season: its bins, the load from nothing to full, the room state, and in what it is given."""

    name: str
    bins: str
    no_load_c: float
    full_load_c: float
    oversize: float
    condition: str
    factor: float
    quantity_unit: str
    kinds: tuple[UnitKind, ...]
    source: str


PROCEDURES = (
    Procedure(
        "CSPF (ISO 16358-1)", "iso_16358", ISO_NO_LOAD_C, ISO_FULL_LOAD_C, 1.0, "iso_t1", 1.0, "W/W",
        (UnitKind.WINDOW, UnitKind.THROUGH_WALL, UnitKind.MINI_SPLIT), "ISO 16358-1:2013, T1 bins and load line",
    ),
    Procedure(
        "SEER (EU 206/2012)", "eu_cooling", EU_NO_LOAD_C, EU_DESIGN_C, 1.0, "iso_t1", 1.0, "W/W",
        (UnitKind.MINI_SPLIT,), "Regulation (EU) 206/2012 consolidated 2017, bins of Annex II Table 1",
    ),
    Procedure(
        "SEER (AHRI 210/240 bins)", "ahri_210_240", AHRI_NO_LOAD_C, AHRI_RATED_C, AHRI_OVERSIZE, "us_room_95f",
        BTU_PER_H_PER_W, "Btu/(W·h)", (UnitKind.MINI_SPLIT,), "AHRI 210/240, bins and load line of Appendix M (2017)",
    ),
)  # fmt: skip


def published_seasons(
    levels: Sequence[Sequence[RatedPoint]],
    kind: UnitKind,
    standby: SeasonInput,
    compressor: Compressor = Compressor.UNKNOWN,
) -> tuple[SeasonFigure, ...]:
    """Return the seasonal figures of the procedures that hold for a kind of unit; none without a point at full speed.

    Parameters
    ----------
    levels
        Points of each speed, lowest first, the last at full speed: as `unit_season.levels_of`.
    standby
        Power while the unit waits, as `unit_season.standby_input`.

    References
    ----------
    As each procedure names; bins and hours in `data/bins.csv` and `data/season_hours.csv`.
    """
    if not levels or any(point.limit.verdict != "at full speed" for point in levels[-1]):
        return ()
    wanted = [procedure for procedure in PROCEDURES if kind in procedure.kinds]
    return tuple(figure for each in wanted if (figure := _figure(levels, each, standby, compressor)))


def _figure(
    levels: Sequence[Sequence[RatedPoint]], procedure: Procedure, standby: SeasonInput, compressor: Compressor
) -> SeasonFigure | None:
    condition = named_condition(procedure.condition)
    if condition.room_wet_bulb_c is None:
        return None
    ratio = _ratio(levels, procedure, condition)
    if ratio is None:
        return None
    inputs = [_efficiency(levels[-1], procedure, condition), _loss()]
    value, u = ratio.value, ratio.u
    if procedure.bins == "eu_cooling":
        (value, u), idle = _with_idle(ratio, levels[-1], condition, standby)
        inputs += idle
    return SeasonFigure(
        name=procedure.name,
        value=procedure.factor * value,
        u95=2.0 * procedure.factor * u,
        quantity_unit=procedure.quantity_unit,
        inputs=tuple(inputs),
        because=f"{procedure.source}; {_speeds(len(levels) - 1, compressor)}, carried to every bin by this unit's own "
        "surface. No laboratory's rating, and not comparable with one by another procedure.",
    )


def _speeds(reduced: int, compressor: Compressor) -> str:
    if reduced:
        return f"full speed and {reduced} reduced speed{'s' if reduced > 1 else ''}"
    known = "" if compressor is Compressor.FIXED_SPEED else ", a lower bound for a unit that can slow down"
    return f"one speed{known}"


def _ratio(levels: Sequence[Sequence[RatedPoint]], procedure: Procedure, condition: Condition) -> Measured | None:
    """Heat over energy of the bins [W/W]; the efficiency's error is common to all bins, so it is carried as one."""
    bins, wet_bulb_c = published_bins(procedure.bins), condition.room_wet_bulb_c or 0.0
    surfaces = [fitted_surface(points, bins.outdoor_temp_c, wet_bulb_c) for points in levels]
    rated = fitted_surface(levels[-1], [procedure.full_load_c], wet_bulb_c)
    if rated is None or any(surface is None for surface in surfaces):
        return None
    known = [surface for surface in surfaces if surface is not None]
    full_load_w = float(rated.capacity_w[0]) / procedure.oversize
    load = load_line(bins.outdoor_temp_c, procedure.no_load_c, procedure.full_load_c, full_load_w)
    capacity = np.stack([surface.capacity_w for surface in known])
    power = np.stack([surface.power_w for surface in known])
    relative_u = np.stack([surface.eer_u95 / surface.eer_btu_per_wh / 2.0 for surface in known])
    low, middle, high = (
        bin_season(bins, load, capacity, power * (1.0 + sign * relative_u), CYCLING_LOSS).ratio
        for sign in (1.0, 0.0, -1.0)
    )
    return Measured(value=middle, u=abs(high - low) / 2.0)


def _with_idle(
    on: Measured, full: Sequence[RatedPoint], condition: Condition, standby: SeasonInput
) -> tuple[tuple[float, float], list[SeasonInput]]:
    """Add what the unit draws while it does not cool, by the hours of a cooling-only unit."""
    surface = fitted_surface(full, [EU_DESIGN_C], condition.room_wet_bulb_c or 0.0)
    design_w = float(surface.capacity_w[0]) if surface else 0.0
    low, high = THERMOSTAT_OFF_BOUNDS_W
    waiting = SeasonInput(
        name="power with the thermostat off", value=(low + high) / 2.0, u=(high - low) / sqrt(12.0), quantity_unit="W",
        measured=False, because=f"not measured: {low:g} to {high:g} W is usual; no crankcase heater in room units",
    )  # fmt: skip

    def seer(seer_on: float, thermostat_off_w: float, standby_w: float) -> float:
        return eu_seer(
            design_w, seer_on, thermostat_off_w=thermostat_off_w, standby_w=standby_w, off_w=min(standby_w, 1.0)
        )[1]

    value = seer(on.value, waiting.value, standby.value)
    moves = (
        seer(on.value + on.u, waiting.value, standby.value) - value,
        seer(on.value, waiting.value + waiting.u, standby.value) - value,
        seer(on.value, waiting.value, standby.value + standby.u) - value,
    )
    return (value, hypot(*moves)), [waiting, standby]


def _efficiency(full: Sequence[RatedPoint], procedure: Procedure, condition: Condition) -> SeasonInput:
    surface = fitted_surface(full, [procedure.full_load_c], condition.room_wet_bulb_c or 0.0)
    value, u95 = (float(surface.eer_btu_per_wh[0]), float(surface.eer_u95[0])) if surface else (0.0, 0.0)
    to_unit = procedure.factor / BTU_PER_H_PER_W
    what = "COP" if procedure.quantity_unit == "W/W" else "EER"
    return SeasonInput(
        name=f"{what} at full speed, {procedure.full_load_c:.0f} °C outdoors",
        value=value * to_unit, u=u95 * to_unit / 2.0, quantity_unit=procedure.quantity_unit, measured=True,
        because=f"{len(full)} window{'s' if len(full) != 1 else ''} at full speed, brought there by published maps",
    )  # fmt: skip


def _loss() -> SeasonInput:
    return SeasonInput(
        name="cycling loss C_D", value=CYCLING_LOSS, u=0.0, quantity_unit="1", measured=False,
        because="the procedure's default where it was not tested",
    )  # fmt: skip
