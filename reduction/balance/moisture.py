"""Condensed moisture and the latent part of the capacity, by the best evidence there is."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from reduction.balance.coil import CoilTemp, unseen_latent_w
from reduction.balance.water import WaterRate
from reduction.ground.constants import LATENT_HEAT_J_PER_KG, SECONDS_PER_HOUR
from reduction.ground.moist_air import (
    dew_point_c,
    specific_volume_m3_per_kg,
    vapour_enthalpy_j_per_kg,
    water_enthalpy_j_per_kg,
)
from reduction.session import Finding, Room, Session, Severity, UnitKind
from reduction.uncertainty.ledger import Ledger, Quantity, constant
from reduction.uncertainty.propagation import Input

FloatArray = NDArray[np.float64]

PORTABLE = (UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE)
AIR_CHANGES_PER_H = (0.1, 0.7)
"""Of a closed ordinary room where infiltration was not measured; common practice, no source."""
HUMIDITY_STEP_KG_PER_KG = 0.005
"""Half-width of the difference to the air that leaks in, where that was not measured; common practice, no source."""
BUFFERING = (1.0, 5.0)
"""Moisture that the room holds over what its air holds: plaster, paper, cloth; common practice, no source."""
TYPICAL_RATIO = 0.008
ORDINARY_WATER_C = (15.0, 25.0)
ORDINARY_COIL_C = 8.0
LATENT_KNOWN_WITHIN = 0.1
"""A room moisture balance counts where its u is below this part of the dry capacity."""


@dataclass(frozen=True)
class Air:
    """The room's air and the coil in one window; None is unknown."""

    room_temp_c: float
    room_ratio: float | None
    room_ratio_u: float
    ratio_slope_per_s: float
    leaking_ratio: float | None
    coil: CoilTemp | None
    return_temp_c: float
    pressure_pa: float
    leaking_temp_c: float | None = None


@dataclass(frozen=True)
class MoistureTerms:
    """What the moisture makes of the balance: total or sensible, with the latent part as a quantity."""

    kind: Literal["total", "sensible"]
    latent: Quantity | None
    how: str
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Flow:
    """A flow of water as an estimate. [kg/s]"""

    kg_per_s: float
    u_kg_per_s: float
    how: str


def net_gain(session: Session, air: Air, people_kg_per_s: float, *, leaks: bool = True) -> Flow:
    """Vapour the room's air gains from leaks and people less what it stores: what the coil condenses of it.

    `leaks` false leaves infiltration out, as for a portable, whose induced infiltration is part of its net effect.

    References
    ----------
    The room moisture balance, Method §1: ρ·V·dW/dt = ṁ·(W_leak − W) + sources − W_r.
    """
    room, ratio = session.room, air.room_ratio or TYPICAL_RATIO
    held = room.volume_m3 * _dry_kg_per_m3(air.room_temp_c, ratio, air.pressure_pa) * air.ratio_slope_per_s
    buffer, buffer_u = (BUFFERING[0] + BUFFERING[1]) / 2.0, (BUFFERING[1] - BUFFERING[0]) / sqrt(12.0)
    value, u = people_kg_per_s - buffer * held, hypot(buffer_u * held, 0.5 * people_kg_per_s)
    if not leaks:
        return Flow(value, u, "people and the room's own humidity")
    flow, flow_u = infiltration_m3_per_s(room)
    step, step_u = 0.0, HUMIDITY_STEP_KG_PER_KG / sqrt(3.0)
    if air.leaking_ratio is not None and air.room_ratio is not None:
        step, step_u = air.leaking_ratio - air.room_ratio, sqrt(2.0) * air.room_ratio_u
    outside_c = air.room_temp_c if air.leaking_temp_c is None else air.leaking_temp_c
    per_m3 = _dry_kg_per_m3(outside_c, air.leaking_ratio or ratio, air.pressure_pa)
    leak_u = per_m3 * hypot(flow_u * step, hypot(flow, flow_u) * step_u)
    return Flow(value + per_m3 * flow * step, hypot(u, leak_u), "room moisture balance: leaks, people, storage")


def _dry_kg_per_m3(temp_c: float, ratio: float, pressure_pa: float) -> float:
    return 1.0 / float(specific_volume_m3_per_kg(temp_c, ratio, pressure_pa))


def infiltration_m3_per_s(room: Room) -> tuple[float, float]:
    """Infiltration with its u: the tester's, or a band by volume.

    Examples
    --------
    >>> [round(each * 3600, 1) for each in infiltration_m3_per_s(Room(volume_m3=30.0))]
    [12.0, 5.2]
    """
    if room.infiltration_m3_per_h is not None:
        given = room.infiltration_u95_m3_per_h
        u = given / 2.0 if given is not None else room.infiltration_m3_per_h / 4.0
        return room.infiltration_m3_per_h / SECONDS_PER_HOUR, u / SECONDS_PER_HOUR
    low, high = (changes * room.volume_m3 / SECONDS_PER_HOUR for changes in AIR_CHANGES_PER_H)
    return (low + high) / 2.0, (high - low) / sqrt(12.0)


def _latent_bounds_w(air: Air, sensible_w: float, at_most_kg_per_s: float = inf) -> tuple[float, float]:
    unseen = unseen_latent_w(
        sensible_w, air.room_ratio, air.coil, air.return_temp_c, air.pressure_pa, at_most_kg_per_s=at_most_kg_per_s
    )
    half = sqrt(3.0) * unseen.u
    return unseen.value - half, unseen.value + half


def is_dry(air: Air) -> bool:
    """Say whether the coil cannot condense: the room's dew point, at its upper limit, below the coil's interval."""
    if air.coil is None or air.room_ratio is None:
        return False
    return float(dew_point_c(max(1e-5, air.room_ratio + 2.0 * air.room_ratio_u), air.pressure_pa)) < air.coil.low_c


def enter_moisture(
    ledger: Ledger,
    session: Session,
    air: Air,
    *,
    condensate: WaterRate | None,
    supply: WaterRate | None,
    people_kg_per_s: float,
    dry_capacity_w: float,
) -> MoistureTerms:
    """Enter the moisture terms by the most trusted evidence: weighings, a dry coil, the room's moisture balance.

    With W_c condensed and W_h supplied, the enthalpy balance of the room's air gives
    Q_total = Q_dry + W_c·(h_v − h_w2) − W_h·(h_v − h_w1), whatever leaks in and whichever way the water was
    evaporated; K1·(W_c − W_h) of it is one term, the rest (vapour and water not at K1's temperature) another.

    References
    ----------
    ISO 5151, room calorimeter: (h_w1 − h_w2)·W_r and the latent part K1·W_r, K1 = 2460 kJ/kg (from memory).
    """
    humidifier = session.moisture.humidifier != "none"
    if session.unit.kind in PORTABLE:
        net = net_gain(session, air, people_kg_per_s, leaks=False)
        made = _enter_rate(ledger, "water supplied", supply) if supply else constant(0.0)
        removed = _plus(made, _enter_flow(ledger, "net vapour gain", net))
        _enter_terms(ledger, session, air, removed, made)
        how = "net effect in the room: moisture that the unit itself draws in cancels"
        return MoistureTerms("total", _latent(ledger, air, removed) if supply or not humidifier else None, how)
    if condensate or supply or humidifier:
        return _from_water(ledger, session, air, condensate, supply, people_kg_per_s, dry_capacity_w)
    if is_dry(air):
        return MoistureTerms("total", constant(0.0), "dry coil: room dew point below the coil's surface")
    net = net_gain(session, air, people_kg_per_s)
    known = air.room_ratio is not None and air.leaking_ratio is not None and session.room.infiltration_m3_per_h
    if known and LATENT_HEAT_J_PER_KG * net.u_kg_per_s < LATENT_KNOWN_WITHIN * abs(dry_capacity_w):
        condensed = _enter_flow(ledger, "condensed by moisture balance", net)
        _enter_terms(ledger, session, air, condensed, constant(0.0))
        return MoistureTerms("total", _latent(ledger, air, condensed), net.how)
    return MoistureTerms("sensible", None, "moisture unknown", (_sensible_only(air, dry_capacity_w, net),))


def _from_water(
    ledger: Ledger,
    session: Session,
    air: Air,
    condensate: WaterRate | None,
    supply: WaterRate | None,
    people_kg_per_s: float,
    dry_capacity_w: float,
) -> MoistureTerms:
    net = net_gain(session, air, people_kg_per_s)
    humidifier = session.moisture.humidifier != "none"
    if condensate and supply:
        condensed = _enter_rate(ledger, "condensate", condensate)
        made = _enter_rate(ledger, "water supplied", supply)
        how = f"condensate: {condensate.how}; water supplied: {supply.how}"
    elif condensate:
        condensed = _enter_rate(ledger, "condensate", condensate)
        made = _minus(condensed, _enter_flow(ledger, "net vapour gain", net)) if humidifier else constant(0.0)
        how = f"condensate: {condensate.how}"
    elif supply:
        made = _enter_rate(ledger, "water supplied", supply)
        condensed = _plus(made, _enter_flow(ledger, "net vapour gain", net))
        how = f"water supplied: {supply.how}, at constant room humidity"
    else:
        return _from_coil(ledger, session, air, net, dry_capacity_w)
    _enter_terms(ledger, session, air, condensed, made)
    return MoistureTerms("total", _latent(ledger, air, condensed), how)


def _from_coil(ledger: Ledger, session: Session, air: Air, net: Flow, dry_capacity_w: float) -> MoistureTerms:
    """A humidifier nobody weighed: the heaters cover the total, only its split is uncertain."""
    shares = _latent_bounds_w(air, 1.0)
    parts = [share / (1.0 + share) * abs(dry_capacity_w) / LATENT_HEAT_J_PER_KG for share in shares]
    estimate = Flow(sum(parts) / 2.0, (parts[1] - parts[0]) / sqrt(12.0), "coil temperature and room humidity")
    condensed = _enter_flow(ledger, "condensed by coil temperature", estimate)
    made = _minus(condensed, _enter_flow(ledger, "net vapour gain", net))
    _enter_terms(ledger, session, air, condensed, made)
    return MoistureTerms("total", _latent(ledger, air, condensed), "humidifier not weighed: split by coil temperature")


def _enter_terms(ledger: Ledger, session: Session, air: Air, condensed: Quantity, made: Quantity) -> None:
    h_v = float(vapour_enthalpy_j_per_kg(air.room_temp_c))
    supplied_c = _water_temp(ledger, "water supplied: temperature", session.moisture.water_supply_temp_c, None)
    away = air.coil.low_c if air.coil is not None else ORDINARY_WATER_C[0] - 10.0
    leaves = session.moisture.condensate_leaves_room
    band = (max(0.0, away), max(0.0, away) + 4.0) if leaves else (max(0.0, away), air.room_temp_c)
    condensed_c = _water_temp(ledger, "condensate: temperature", session.moisture.condensate_temp_c, band)

    def water(x: FloatArray) -> FloatArray:
        rest = h_v - LATENT_HEAT_J_PER_KG
        out = condensed(x) * (rest - water_enthalpy_j_per_kg(condensed_c(x)))
        return np.asarray(out - made(x) * (rest - water_enthalpy_j_per_kg(supplied_c(x))))

    ledger.add_term(
        "moisture from outside the room",
        lambda x: LATENT_HEAT_J_PER_KG * (condensed(x) - made(x)),
        f"K1·(condensed − supplied); {_convention(air)}; what a humidifier evaporates takes its heat from the room",
    )
    ledger.add_term("water in and out", water, "enthalpy of water supplied and condensed, beside K1")


def _given_up_j_per_kg(air: Air) -> float:
    """Heat that vapour of the room's air gives up as it becomes water at the coil's temperature."""
    coil_c = max(0.0, 0.5 * (air.coil.low_c + air.coil.high_c)) if air.coil else ORDINARY_COIL_C
    return float(vapour_enthalpy_j_per_kg(air.room_temp_c) - water_enthalpy_j_per_kg(coil_c))


def _convention(air: Air) -> str:
    return (
        f"K1 = {LATENT_HEAT_J_PER_KG / 1e3:.0f} kJ/kg by convention; vapour of this room gives up "
        f"{_given_up_j_per_kg(air) / 1e3:.0f} as it becomes water at this coil, which is in the ± of the latent and "
        "of the sensible part and not in that of their sum"
    )


def _water_temp(ledger: Ledger, name: str, given_c: float | None, band: tuple[float, float] | None) -> Quantity:
    if given_c is not None:
        return ledger.enter(Input(name, given_c, 1.0, "°C", source="as the tester states it, ±2 K"))
    low, high = band or ORDINARY_WATER_C
    middle, u = (low + high) / 2.0, abs(high - low) / sqrt(12.0)
    return ledger.enter(Input(name, middle, u, "°C", source=f"not measured: {low:.0f} to {high:.0f} °C"))


def _enter_rate(ledger: Ledger, name: str, rate: WaterRate) -> Quantity:
    flow = ledger.enter(Input(f"{name}: rate", rate.kg_per_s, rate.u_kg_per_s, "kg/s", evaluation="A", source=rate.how))
    if not rate.gain_u:
        return flow
    gain = ledger.enter(
        Input(f"{name}: scale", 1.0, rate.gain_u, "kg/kg", shared_key=rate.key, source="limits of the scale")
    )
    return lambda x: flow(x) / gain(x)


def _enter_flow(ledger: Ledger, name: str, flow: Flow) -> Quantity:
    return ledger.enter(Input(name, flow.kg_per_s, flow.u_kg_per_s, "kg/s", source=flow.how))


def _plus(a: Quantity, b: Quantity) -> Quantity:
    return lambda x: a(x) + b(x)


def _minus(a: Quantity, b: Quantity) -> Quantity:
    return lambda x: a(x) - b(x)


def _latent(ledger: Ledger, air: Air, condensed: Quantity) -> Quantity:
    """K1·W_r with what the convention leaves open between latent and sensible; their sum knows nothing of it."""
    apart = abs(_given_up_j_per_kg(air) - LATENT_HEAT_J_PER_KG)
    source = "a convention: vapour of the room's air to water at the coil gives up another amount"
    k1 = ledger.enter(
        Input("K1", LATENT_HEAT_J_PER_KG, apart / sqrt(3.0), "J/kg", shared_key="convention:K1", source=source)
    )
    return lambda x: k1(x) * condensed(x)


def _sensible_only(air: Air, dry_capacity_w: float, net: Flow) -> Finding:
    most = _latent_bounds_w(air, dry_capacity_w, net.kg_per_s + 2.0 * net.u_kg_per_s)[1]
    return Finding(
        code="sensible_only",
        severity=Severity.NOTE,
        sentence="No water was weighed and the coil is not surely dry, so the result is the sensible capacity, a lower "
        f"bound of the total. By the coil's temperature and what can leak in, at most {most:.0f} W of heat went into "
        "condensate.",
        remedy="Weigh the condensate over the window, or the water given to a humidifier at constant humidity.",
    )
