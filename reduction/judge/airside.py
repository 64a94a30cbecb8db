"""Independent looks at a capacity: indoor air, outdoor air, energy counters, room sensors."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from reduction.ground.constants import LATENT_HEAT_J_PER_KG, SECONDS_PER_HOUR, STANDARD_PRESSURE_PA
from reduction.ground.moist_air import (
    density_kg_per_m3,
    enthalpy_j_per_kg,
    heat_capacity_j_per_kg_k,
    specific_volume_m3_per_kg,
    water_enthalpy_j_per_kg,
)
from reduction.ground.rounding import with_unit
from reduction.session import CrossCheck, Measured

CLAIMED_FLOW_U = 0.15  # of the claim, standard: leaflets state free delivery, filter and grille cost 10–30 %; no source
TYPICAL_RATIO = 0.008  # kg/kg where humidity is unknown; 0.004 more or less moves an air flow by 0.5 %
MIXED_ROOM_K = 0.5  # two sensors of a mixed room may differ by this besides their errors, common practice, no source
SAME_PLUG = 0.01  # of the power: counter and log of one plug are read out and rounded apart, common practice, no source
OUTDOOR_FLOW_TOLERANCE = (
    0.08  # one fan speed at two air densities and a wet or dry condenser; common practice, no source
)
CLOSURE = "air-side closure"


@dataclass(frozen=True)
class AirSide:
    """What one window gives an independent check to work with; None is not measured.

    Temperatures [°C], powers [W], humidity ratios [kg/kg], air flows [m³/h]; each with its standard uncertainty.
    A flow is a volume at the air it was measured in: `flow_in_supply_air` says behind the coil, else at the return.
    """

    capacity: Measured
    sensible: Measured
    power: Measured
    room_temp_c: Measured
    supply_temp_c: Measured | None = None
    return_temp_c: Measured | None = None
    supply_ratio: Measured | None = None
    return_ratio: Measured | None = None
    condenser_inlet_temp_c: Measured | None = None
    condenser_outlet_temp_c: Measured | None = None
    measured_flow_m3_per_h: Measured | None = None
    claimed_flow_m3_per_h: float | None = None
    flow_in_supply_air: bool = False
    counters: Mapping[str, tuple[Measured, Measured]] | None = None
    room_sensors: Mapping[str, Measured] | None = None
    pressure_pa: float = STANDARD_PRESSURE_PA

    @property
    def entering_temp_c(self) -> Measured:
        """Air that enters the indoor coil: the return where it is measured, else the room."""
        return self.return_temp_c or self.room_temp_c

    @property
    def ratio(self) -> float:
        """Humidity ratio [kg/kg] of the entering air, or a typical one."""
        return self.return_ratio.value if self.return_ratio else TYPICAL_RATIO


def cross_checks(air: AirSide, *, running: bool = True) -> tuple[CrossCheck, ...]:
    """Return every check one window's measurements allow, in a fixed order; without a running unit none of its air.

    References
    ----------
    Air side and outdoor side: the two simultaneous methods of ISO 5151 (from memory); air-side heat from enthalpies
    of moist air as in ASHRAE Handbook Fundamentals (SI) ch. 1.
    """
    found = [_closure(air), _indoor_flow(air), _outdoor_flow(air)] if running else []
    found += [_counter(name, *pair) for name, pair in (air.counters or {}).items()]
    found.append(_room_sensors(air))
    return tuple(check for check in found if check)


def across_windows(windows: Mapping[str, AirSide]) -> tuple[CrossCheck, ...]:
    """Return whether what a fan fixes stays the same in all windows at one fan step.

    Checked are the supply–return index (sensible capacity per kelvin of split) and the outdoor air flow inferred from
    the heat rejected. A value is inconstant where it differs from the first by more than twice their joint u.
    """
    indices = {label: index for label, air in windows.items() if (index := supply_return_index(air))}
    flows = {label: flow for label, air in windows.items() if (flow := outdoor_flow_m3_per_h(air))}
    checks = (
        _constant("supply–return index", "W/K", indices, "supply probe, fan step or a coil that now condenses"),
        _constant("outdoor air flow", "m³/h", flows, "condenser probes, recirculation or water on the condenser"),
    )
    return tuple(check for check in checks if check)


def indoor_flow_m3_per_h(air: AirSide) -> Measured | None:
    """Return the air flow [m³/h of entering air] that carries the sensible capacity at the measured split.

    Examples
    --------
    >>> sensible, supply, entering = (Measured(value=v, u=0.0) for v in (1731.0, 7.0, 22.0))
    >>> air = AirSide(sensible, sensible, sensible, entering, supply)
    >>> round(indoor_flow_m3_per_h(air).value / 3600, 3)
    0.096
    """
    split = _split(air)
    if split is None or split.value <= 0.0:
        return None
    mass_kg_per_s = _ratio(air.sensible, split, heat_capacity_j_per_kg_k(air.ratio))
    volume = specific_volume_m3_per_kg(air.entering_temp_c.value, air.ratio, air.pressure_pa)
    return _scaled(mass_kg_per_s, volume * SECONDS_PER_HOUR)


def outdoor_flow_m3_per_h(air: AirSide) -> Measured | None:
    """Return the outdoor air flow [m³/h of inlet air] that carries away capacity and power at the measured rise."""
    inlet, outlet = air.condenser_inlet_temp_c, air.condenser_outlet_temp_c
    if inlet is None or outlet is None or outlet.value <= inlet.value:
        return None
    rejected = Measured(value=air.capacity.value + air.power.value, u=math.hypot(air.capacity.u, air.power.u))
    rise = Measured(value=outlet.value - inlet.value, u=math.hypot(inlet.u, outlet.u))
    volume = specific_volume_m3_per_kg(inlet.value, TYPICAL_RATIO, air.pressure_pa)
    return _scaled(_ratio(rejected, rise, heat_capacity_j_per_kg_k(TYPICAL_RATIO)), volume * SECONDS_PER_HOUR)


def supply_return_index(air: AirSide) -> Measured | None:
    """Return sensible capacity per kelvin of split [W/K]: constant for one unit at one fan step."""
    split = _split(air)
    return _ratio(air.sensible, split) if split and split.value > 0.0 else None


def air_side_heat_w(air: AirSide, flow_m3_per_h: Measured) -> Measured | None:
    """Return the heat [W] an air flow gives up between return and supply: total with both humidities, else sensible.

    q = m ((h1 − h2) − (W1 − W2) h_w): what condensed leaves as liquid at the supply temperature, as in the balance.

    References
    ----------
    ASHRAE Handbook Fundamentals (SI), ch. 1 Example 3.
    """
    if air.supply_temp_c is None:
        return None
    entering, supply = air.entering_temp_c, air.supply_temp_c
    at_temp, at_ratio = entering.value, air.ratio
    total = air.supply_ratio is not None and air.return_ratio is not None
    leaving_ratio = air.supply_ratio.value if total and air.supply_ratio else air.ratio
    if air.flow_in_supply_air:
        at_temp, at_ratio = supply.value, leaving_ratio
    dry_kg_per_s = density_kg_per_m3(at_temp, at_ratio, air.pressure_pa) / (1.0 + at_ratio) / SECONDS_PER_HOUR
    drop = enthalpy_j_per_kg(entering.value, air.ratio) - enthalpy_j_per_kg(supply.value, leaving_ratio)
    drop -= (air.ratio - leaving_ratio) * water_enthalpy_j_per_kg(supply.value)
    u_ratio = math.hypot(air.supply_ratio.u, air.return_ratio.u) if air.supply_ratio and air.return_ratio else 0.0
    u_split = math.hypot(entering.u, supply.u)
    u_drop = math.hypot(heat_capacity_j_per_kg_k(air.ratio) * u_split, LATENT_HEAT_J_PER_KG * u_ratio)
    heat = dry_kg_per_s * flow_m3_per_h.value * drop
    u = dry_kg_per_s * math.hypot(flow_m3_per_h.u * drop, flow_m3_per_h.value * u_drop)
    return Measured(value=heat, u=u)


def _closure(air: AirSide) -> CrossCheck | None:
    claimed = air.claimed_flow_m3_per_h
    flow = air.measured_flow_m3_per_h or (Measured(value=claimed, u=CLAIMED_FLOW_U * claimed) if claimed else None)
    heat = air_side_heat_w(air, flow) if flow else None
    if flow is None or heat is None:
        return None
    total = air.supply_ratio is not None and air.return_ratio is not None
    balance = air.capacity if total else air.sensible
    if balance.value <= 0.0:
        return None
    closure = _ratio(heat, balance)
    whose = "measured" if air.measured_flow_m3_per_h else "claimed"
    because = (
        f"{'Total' if total else 'Sensible'} heat given up by the {whose} air flow, "
        f"{with_unit(heat.value, 2 * heat.u, 'W')}, over that of the balance, "
        f"{with_unit(balance.value, 2 * balance.u, 'W')}."
    )
    return _check(CLOSURE, closure, "1", "1", abs(closure.value - 1.0) <= 2.0 * closure.u, because)


def _indoor_flow(air: AirSide) -> CrossCheck | None:
    split = _split(air)
    if split is None:
        return None
    flow = indoor_flow_m3_per_h(air)
    if flow is None:
        because = f"Supply air is {-split.value:.1f} K warmer than the air that enters: are the probes swapped?"
        return _check(
            "indoor air flow", None, "m³/h", "a positive flow", air.capacity.value <= 2 * air.capacity.u, because
        )
    stated, stated_u, whose = air.claimed_flow_m3_per_h, CLAIMED_FLOW_U, "claimed"
    if air.measured_flow_m3_per_h:
        stated, stated_u = air.measured_flow_m3_per_h.value, 0.0
        stated_u, whose = air.measured_flow_m3_per_h.u / stated, "measured"
    because = f"The air flow that carries the sensible capacity at a split of {split.value:.1f} K."
    if stated is None:
        return _check("indoor air flow", flow, "m³/h", "nothing stated to compare with", None, because)
    passed = abs(flow.value - stated) <= 2.0 * math.hypot(flow.u, stated_u * stated)
    return _check("indoor air flow", flow, "m³/h", f"{stated:.0f} m³/h {whose}", passed, because)


def _outdoor_flow(air: AirSide) -> CrossCheck | None:
    inlet, outlet = air.condenser_inlet_temp_c, air.condenser_outlet_temp_c
    if inlet is None or outlet is None or air.capacity.value <= 2.0 * air.capacity.u:
        return None
    flow = outdoor_flow_m3_per_h(air)
    if flow is None:
        because = f"Outlet air is {inlet.value - outlet.value:.1f} K colder than inlet air while heat is rejected."
        return _check("outdoor air flow", None, "m³/h", "outlet warmer than inlet", False, because)
    because = f"Capacity and power leave with the outdoor air, which warms by {outlet.value - inlet.value:.1f} K."
    return _check("outdoor air flow", flow, "m³/h", "the same in every window at one fan speed", None, because)


def _counter(name: str, counter: Measured, log: Measured) -> CrossCheck:
    difference = Measured(value=counter.value - log.value, u=math.hypot(counter.u, log.u))
    because = f"{name}: {counter.value:.1f} W by one record, {log.value:.1f} W by the other."
    passed = abs(difference.value) <= 2.0 * difference.u + SAME_PLUG * abs(log.value)
    return _check("energy counter against power log", difference, "W", "0 W", passed, because)


def _room_sensors(air: AirSide) -> CrossCheck | None:
    """The two sensors of the room that are furthest apart."""
    sensors = sorted((air.room_sensors or {}).items(), key=lambda item: item[1].value)
    if len(sensors) < 2:
        return None
    (low, a), (high, b) = sensors[0], sensors[-1]
    difference = Measured(value=b.value - a.value, u=math.hypot(a.u, b.u))
    because = (
        f"{high} over {low}, the furthest apart of {len(sensors)}: a room that is not mixed, or a sensor that is off."
    )
    passed = difference.value <= MIXED_ROOM_K + 2.0 * difference.u
    return _check("room sensors", difference, "K", f"within {MIXED_ROOM_K:g} K and their errors", passed, because)


def _constant(name: str, quantity_unit: str, values: Mapping[str, Measured], suspects: str) -> CrossCheck | None:
    if len(values) < 2:
        return None
    low, high = min(values, key=lambda key: values[key].value), max(values, key=lambda key: values[key].value)
    spread = _ratio(values[high], values[low])
    passed = spread.value - 1.0 <= OUTDOOR_FLOW_TOLERANCE + 2.0 * spread.u
    because = (
        f"{with_unit(values[low].value, 2 * values[low].u, quantity_unit)} in {low}, "
        f"{with_unit(values[high].value, 2 * values[high].u, quantity_unit)} in {high}"
    )
    because += "." if passed else f": look at {suspects}."
    return _check(f"{name} across windows", spread, "1", "highest over lowest near 1", passed, because)


def _split(air: AirSide) -> Measured | None:
    if air.supply_temp_c is None:
        return None
    entering = air.entering_temp_c
    return Measured(value=entering.value - air.supply_temp_c.value, u=math.hypot(entering.u, air.supply_temp_c.u))


def _ratio(above: Measured, below: Measured, factor: float = 1.0) -> Measured:
    value = above.value / (below.value * factor)
    return Measured(value=value, u=math.hypot(above.u / (below.value * factor), value * below.u / below.value))


def _scaled(measured: Measured, factor: float) -> Measured:
    return Measured(value=measured.value * factor, u=measured.u * factor)


def _check(
    name: str, value: Measured | None, quantity_unit: str, expected: str, passed: bool | None, because: str
) -> CrossCheck:
    return CrossCheck(
        name=name,
        value=value.value if value else None,
        u95=2.0 * value.u if value else None,
        quantity_unit=quantity_unit,
        expected=expected,
        passed=passed,
        because=because,
    )
