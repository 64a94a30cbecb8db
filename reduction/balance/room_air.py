"""The air of room and unit in one window: conditions to report, and what the moisture terms need."""

from __future__ import annotations

from math import hypot

import numpy as np

from reduction.align.timeline import Series, group_cells, slope_over
from reduction.balance.coil import CoilTemp, coil_temp
from reduction.balance.draft import Draft
from reduction.balance.moisture import Air
from reduction.balance.surroundings import known
from reduction.ground.moist_air import (
    humidity_ratio,
    humidity_ratio_from_wet_bulb,
    relative_humidity_percent,
    wet_bulb_c,
)
from reduction.session import Measured, Role
from reduction.uncertainty.ledger import Ledger
from reduction.uncertainty.readings import Temperature, enter_temperature, mean_value, sensor_mean

CONDITIONS = {
    "condenser_inlet_temp_c": Role.CONDENSER_INLET_TEMP,
    "condenser_outlet_temp_c": Role.CONDENSER_OUTLET_TEMP,
    "supply_temp_c": Role.SUPPLY_TEMP,
    "return_temp_c": Role.RETURN_TEMP,
    "makeup_air_temp_c": Role.MAKEUP_AIR_TEMP,
    "outdoor_temp_c": Role.OUTDOOR_TEMP,
    "adjacent_temp_c": Role.ADJACENT_TEMP,
}
LEAKING_HUMIDITY = {"outdoor": (Role.OUTDOOR_RH, Role.OUTDOOR_TEMP)}
ADJACENT_HUMIDITY = (Role.ADJACENT_RH, Role.ADJACENT_TEMP)
MOST_RH = 100.0


def note_conditions(draft: Draft, room: Temperature) -> None:
    """Note every temperature and the room's humidity with their standard uncertainties."""
    draft.conditions["room_temp_c"] = room.measured
    for name, role in CONDITIONS.items():
        group = known(draft, role)
        if group:
            found = enter_temperature(Ledger(), name, group, draft.start_s, draft.end_s)
            draft.conditions[name] = found.measured
    _note_humidity(draft, room.measured)


def _note_humidity(draft: Draft, room: Measured) -> None:
    pressure = draft.pressure_pa
    bulb = known(draft, Role.ROOM_WET_BULB)
    rh = known(draft, Role.ROOM_RH)
    if bulb:
        wet = enter_temperature(Ledger(), "wet bulb", bulb, draft.start_s, draft.end_s).measured
        draft.conditions["room_wet_bulb_c"] = wet
        ratio = float(humidity_ratio_from_wet_bulb(room.value, wet.value, pressure))
        percent = float(relative_humidity_percent(room.value, ratio, pressure))
        draft.conditions["room_rh_percent"] = Measured(value=percent, u=6.0 * hypot(wet.u, room.u))
    elif rh:
        percent, u = _humidity(draft, rh)
        draft.conditions["room_rh_percent"] = Measured(value=percent, u=u)
        around = np.array([percent, max(0.5, percent - u), min(MOST_RH, percent + u)])
        temp_c = np.full(3, room.value)
        bulb_c, low, high = wet_bulb_c(temp_c, humidity_ratio(temp_c, around, pressure), pressure).tolist()
        draft.conditions["room_wet_bulb_c"] = Measured(value=bulb_c, u=hypot((high - low) / 2.0, 0.35 * room.u))


def _humidity(draft: Draft, group: tuple[Series, ...]) -> tuple[float, float]:
    """Mean relative humidity of the sensors with its u. [%]"""
    found = sensor_mean(group, "humidity", draft.start_s, draft.end_s)
    return min(MOST_RH, found.value), found.u


def air_of(draft: Draft) -> Air:
    """Gather what the moisture terms need from the conditions noted."""
    pressure, room = draft.pressure_pa, draft.conditions["room_temp_c"]
    rh = draft.conditions.get("room_rh_percent")
    ratio, ratio_u, slope = None, 0.0, 0.0
    if rh is not None:
        ratio = float(humidity_ratio(room.value, rh.value, pressure))
        ratio_u = float(humidity_ratio(room.value, min(MOST_RH, rh.value + rh.u), pressure)) - ratio
        slope = _ratio_slope(draft, room.value, pressure)
    from_outdoors = draft.session.room.infiltration_from == "outdoor"
    leaking = draft.conditions.get("outdoor_temp_c" if from_outdoors else "adjacent_temp_c")
    return Air(
        room_temp_c=room.value,
        room_ratio=ratio,
        room_ratio_u=ratio_u,
        ratio_slope_per_s=slope,
        leaking_ratio=_leaking(draft, pressure),
        coil=coil_of(draft),
        return_temp_c=draft.conditions.get("return_temp_c", room).value,
        pressure_pa=pressure,
        leaking_temp_c=leaking.value if leaking else None,
    )


def coil_of(draft: Draft) -> CoilTemp | None:
    """Interval of the coil's temperature from supply and return air; None without supply air or with it warmer."""
    supply = draft.conditions.get("supply_temp_c")
    entering = draft.conditions.get("return_temp_c", draft.conditions["room_temp_c"])
    if supply is None or supply.value >= entering.value:
        return None
    low, high = draft.session.unit.bypass_factor
    return coil_temp(supply.value, entering.value, (low, high), hypot(supply.u, entering.u))


def _ratio_slope(draft: Draft, room_c: float, pressure: float) -> float:
    """Slope of the room's humidity ratio over the window [1/s]; 0 where only a wet bulb is logged."""
    cells = group_cells(draft.timeline, Role.ROOM_RH)
    slope = slope_over(draft.timeline, cells, draft.start_s, draft.end_s, draft.cycle_s)
    per_percent = float(humidity_ratio(room_c, 51.0, pressure)) - float(humidity_ratio(room_c, 50.0, pressure))
    temp = slope_over(
        draft.timeline, group_cells(draft.timeline, Role.ROOM_TEMP), draft.start_s, draft.end_s, draft.cycle_s
    )
    rh = draft.conditions["room_rh_percent"].value
    per_k = float(humidity_ratio(room_c + 0.5, rh, pressure)) - float(humidity_ratio(room_c - 0.5, rh, pressure))
    parts = (slope.per_s * per_percent, temp.per_s * per_k)
    return sum(part for part in parts if part == part)


def _leaking(draft: Draft, pressure: float) -> float | None:
    """Humidity ratio of the air that leaks in, where its humidity and temperature were logged."""
    humid, warm = LEAKING_HUMIDITY.get(draft.session.room.infiltration_from, ADJACENT_HUMIDITY)
    rh, temp = known(draft, humid), known(draft, warm)
    if not rh or not temp:
        return None
    percent = mean_value(rh[0], draft.start_s, draft.end_s) or 0.0
    temp_c = mean_value(temp[0], draft.start_s, draft.end_s) or 0.0
    return float(humidity_ratio(temp_c, min(MOST_RH, percent), pressure))
