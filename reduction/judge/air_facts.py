"""What a window's channels give the independent checks to work with."""

from __future__ import annotations

from math import hypot, isfinite

from reduction.align.timeline import Series, Timeline, mean_over
from reduction.balance.loads import loads_of
from reduction.ground.moist_air import humidity_ratio, station_pressure_pa
from reduction.judge.airside import AirSide
from reduction.judge.claims import Claimed
from reduction.session import Measured, Point, Role, Session
from reduction.uncertainty.readings import from_limit, instrument_of


def air_side_of(point: Point, timeline: Timeline, session: Session, claimed: Claimed) -> AirSide | None:
    """Return what a window gives the independent checks to work with; None without a room temperature."""
    if "room_temp_c" not in point.conditions:
        return None
    unit, u95 = session.unit, session.unit.measured_air_flow_u95_m3_per_h
    flow = unit.measured_air_flow_m3_per_h
    start, end = point.start.timestamp(), point.end.timestamp()
    pressure = pressure_of(session)
    return AirSide(
        capacity=Measured(value=point.capacity_w, u=point.capacity_u_w),
        sensible=Measured(value=point.sensible_w, u=point.sensible_u95_w / 2.0),
        power=Measured(value=point.power_w, u=point.power_u95_w / 2.0),
        room_temp_c=point.conditions["room_temp_c"],
        supply_temp_c=point.conditions.get("supply_temp_c"),
        return_temp_c=point.conditions.get("return_temp_c"),
        return_ratio=_ratio(timeline, (Role.RETURN_TEMP, Role.RETURN_RH), start, end, pressure)
        or _ratio(timeline, (Role.ROOM_TEMP, Role.ROOM_RH), start, end, pressure),
        supply_ratio=_ratio(timeline, (Role.SUPPLY_TEMP, Role.SUPPLY_RH), start, end, pressure),
        condenser_inlet_temp_c=point.conditions.get("condenser_inlet_temp_c"),
        condenser_outlet_temp_c=point.conditions.get("condenser_outlet_temp_c"),
        measured_flow_m3_per_h=Measured(value=flow, u=(u95 if u95 is not None else 0.2 * flow) / 2.0) if flow else None,
        claimed_flow_m3_per_h=claimed.air_flow_m3_per_h,
        counters=_counters(timeline, start, end),
        room_sensors=_sensors(timeline, start, end),
        pressure_pa=pressure,
    )


def _ratio(
    timeline: Timeline, roles: tuple[Role, Role], start_s: float, end_s: float, pressure_pa: float
) -> Measured | None:
    """Humidity ratio [kg/kg] of the air a temperature and a humidity channel stand in."""
    temp, rh = (next(iter(timeline.of(role)), None) for role in roles)
    if temp is None or rh is None:
        return None
    temp_c, percent = mean_over(temp, start_s, end_s).value, mean_over(rh, start_s, end_s).value
    if not (isfinite(temp_c) and 0.0 <= percent <= 100.0):
        return None
    limits = instrument_of(rh, "humidity")
    u = from_limit(limits.offset_limit, limits.distribution).u
    ratio, more = (float(humidity_ratio(temp_c, min(100.0, p), pressure_pa)) for p in (percent, percent + u))
    return Measured(value=ratio, u=more - ratio)


def _sensors(timeline: Timeline, start_s: float, end_s: float) -> dict[str, Measured]:
    found = {}
    for series in timeline.of(Role.ROOM_TEMP):
        value = mean_over(series, start_s, end_s).value
        if isfinite(value):
            found[series.name] = Measured(value=value, u=_sensor_u(series))
    return found


def _sensor_u(series: Series) -> float:
    limits = instrument_of(series, "temperature")
    if limits.offset_correction_u is not None:
        return hypot(limits.offset_correction_u, series.placement_u)
    return hypot(from_limit(limits.offset_limit, limits.distribution).u, series.placement_u)


def _counters(timeline: Timeline, start_s: float, end_s: float) -> dict[str, tuple[Measured, Measured]]:
    """Mean power of each load by both of its records, where it is logged and counted."""
    loads = [load for what in ("unit", "heater", "other") for load in loads_of(timeline, what, start_s, end_s)]
    return {
        load.series.name: (Measured(value=load.other_w, u=load.other_u_w), Measured(value=load.mean_w, u=load.u_w))
        for load in loads
        if load.other is not None and isfinite(load.other_w) and isfinite(load.mean_w)
    }


def pressure_of(session: Session) -> float:
    """Return the air pressure [Pa]: stated, else that of the altitude."""
    return session.settings.pressure_pa or station_pressure_pa(session.settings.altitude_m)
