"""A portable's machine by itself: its net effect in the room, with duct heat and drawn-in air put back."""

from __future__ import annotations

from math import hypot, sqrt

from reduction.balance.coil import CoilTemp, unseen_latent_w
from reduction.balance.moisture import TYPICAL_RATIO
from reduction.balance.water import WaterRate
from reduction.ground.constants import LATENT_HEAT_J_PER_KG
from reduction.ground.moist_air import (
    heat_capacity_j_per_kg_k,
    humidity_ratio,
    humidity_ratio_from_wet_bulb,
    specific_volume_m3_per_kg,
)
from reduction.ground.rounding import with_unit
from reduction.judge.duct_facts import (
    NAMES,
    PORTABLE,
    area_of,
    drawn_in_temp_c,
    ducts_missing,
    ducts_of,
    flow_of,
    surface_of,
)
from reduction.session import (
    CrossCheck,
    DuctedPoint,
    Ducts,
    Measured,
    Point,
    UnitKind,
    UnitUnderTest,
)

FILM_W_PER_M2_K = (1.0 / 0.13, 17.03)
"""Of a duct in a room: still air on a wall, R_si = 0.13 m²·K/W (ISO 6946), to the 3 Btu/(h·ft²·°F) that
the procedure takes for a hose."""
FILM = sum(FILM_W_PER_M2_K) / 2.0
FILM_U = (FILM_W_PER_M2_K[1] - FILM_W_PER_M2_K[0]) / sqrt(12.0)


def ducted_point(
    point: Point, unit: UnitUnderTest, *, coil: CoilTemp | None, condensed: WaterRate | None, pressure_pa: float
) -> DuctedPoint | None:
    """Return a portable's machine by itself in one window; None for another kind, or where something is missing.

    C = Q_sensible + h·ΣA·(T_duct − T_room) + ṁ·c·(T_drawn in − T_room) + K1·W_condensed, with ṁ the dry air of the
    exhaust less that of the intake. What the drawn-in air brings of moisture cancels: it is condensed or it is not.

    Parameters
    ----------
    point
        Its net effect, as reduced.
    coil, condensed
        Tell the latent part: what was weighed, else what the coil's temperature allows; a dry coil condenses nothing.

    References
    ----------
    10 CFR 430 Subpart B Appendix CC (2016), 4.1.1 and 4.1.2 for duct heat and dry air (from memory), here with the
    test's own temperatures.
    """
    if unit.kind not in PORTABLE or point.cop is None or ducts_missing(unit, point.conditions):
        return None
    room, exhaust = (point.conditions[name].value for name in ("room_temp_c", "condenser_outlet_temp_c"))
    inlet, ratio = _inlet(point, unit.kind), _room_ratio(point, pressure_pa)
    duct_w, duct_parts = duct_heat_w(unit.ducts, unit.kind, room, FILM)
    air = dry_air_kg_per_s(unit.ducts, unit.kind, exhaust, inlet.value, ratio, pressure_pa)
    drawn = _drawn_in_w(point, sum(flow.value for flow in air.values()), ratio)
    latent = _latent(point.sensible_w + duct_w + drawn.value, ratio, coil, point, condensed, pressure_pa)
    per_kg = drawn_in_j_per_kg(point, ratio)
    return DuctedPoint(
        capacity_w=point.sensible_w + duct_w + drawn.value + latent.value,
        capacity_u_w=hypot(point.sensible_u95_w / 2.0, latent.u, drawn.u),
        added_w={"film at the ducts": duct_w * FILM_U / FILM} | duct_parts | {n: f.u * per_kg for n, f in air.items()},
        duct_heat_w=duct_w,
        drawn_in_w=drawn.value,
        latent_w=latent.value,
        power_w=point.power_w,
        inlet_temp_c=inlet.value,
        inlet_temp_u_c=inlet.u,
        exhaust_temp_c=exhaust,
        room_temp_c=room,
        room_ratio=ratio,
        pressure_pa=pressure_pa,
        stated=unit.ducts,
        because=f"Net effect {with_unit(point.capacity_w, point.capacity_u95_w, 'W')}; its ducts give the room "
        f"{duct_w:.0f} W and the air drawn in {drawn.value:.0f} W of sensible heat.",
    )


def drawn_in_j_per_kg(point: Point, ratio: float) -> float:
    """Return the sensible heat that a kilogram of drawn-in dry air brings into the room. [J/kg]"""
    room = point.conditions["room_temp_c"]
    drawn = drawn_in_temp_c(point.conditions) or room
    return float(heat_capacity_j_per_kg_k(ratio)) * (drawn.value - room.value)


def _drawn_in_w(point: Point, dry_kg_per_s: float, ratio: float) -> Measured:
    """Return the heat of all of it, with the u that its temperature and the room's leave. [W]"""
    room = point.conditions["room_temp_c"]
    apart_u = hypot((drawn_in_temp_c(point.conditions) or room).u, room.u)
    u = abs(dry_kg_per_s) * float(heat_capacity_j_per_kg_k(ratio)) * apart_u
    return Measured(value=dry_kg_per_s * drawn_in_j_per_kg(point, ratio), u=u)


def duct_heat_w(ducts: Ducts, kind: UnitKind, room_temp_c: float, film: float) -> tuple[float, dict[str, float]]:
    """Return the heat of all ducts [W] at a film [W/(m²·K)], with what each stated figure's u makes of it. [W]"""
    heat, parts = 0.0, {}
    for which in ducts_of(kind):
        area, surface = area_of(ducts, which), surface_of(ducts, which)
        excess = surface.value - room_temp_c
        heat += film * area.value * excess
        parts[NAMES[f"{which}_area"]] = film * area.u * excess
        parts[NAMES[f"{which}_surface"]] = film * area.value * surface.u
    return heat, parts


def dry_air_kg_per_s(
    ducts: Ducts, kind: UnitKind, exhaust_temp_c: float, inlet_temp_c: float, ratio: float, pressure_pa: float
) -> dict[str, Measured]:
    """Return by name the dry air that each duct takes from the room: what an intake brings is less than nothing. [kg/s]

    Examples
    --------
    >>> one, stated = UnitKind.SINGLE_DUCT_PORTABLE, Ducts(exhaust_flow_m3_per_h=400.0)
    >>> round(dry_air_kg_per_s(stated, one, 50.0, 27.0, 0.008, 101325.0)["exhaust air flow"].value, 3)
    0.12
    """
    found = {}
    for which, temp_c in zip(ducts_of(kind), (exhaust_temp_c, inlet_temp_c), strict=False):
        flow, volume = flow_of(ducts, which), float(specific_volume_m3_per_kg(temp_c, ratio, pressure_pa))
        sign = 1.0 if which == "exhaust" else -1.0
        found[NAMES[f"{which}_flow"]] = Measured(value=sign * flow.value / volume, u=flow.u / volume)
    return found


def exhaust_check(ducted: DuctedPoint | None, kind: UnitKind) -> tuple[CrossCheck, ...]:
    """Return whether the stated flows carry away what the machine rejects, capacity and power.

    Where along the duct the exhaust's temperature was read is not known: between all of its heat and none has left.
    """
    if ducted is None:
        return ()
    air = dry_air_kg_per_s(
        ducted.stated, kind, ducted.exhaust_temp_c, ducted.inlet_temp_c, ducted.room_ratio, ducted.pressure_pa
    )
    capacity = float(heat_capacity_j_per_kg_k(ducted.room_ratio))
    exhaust = air[NAMES["exhaust_flow"]]
    from_room = sum(flow.value for flow in air.values()) if kind is UnitKind.DUAL_DUCT_PORTABLE else 0.0
    rise = ducted.exhaust_temp_c - ducted.inlet_temp_c
    carried = capacity * (exhaust.value * rise - from_room * (ducted.room_temp_c - ducted.inlet_temp_c))
    rejected = ducted.capacity_w + ducted.power_w - 0.5 * ducted.duct_heat_w
    if rejected <= 0.0:
        return ()
    rejected_u = hypot(ducted.capacity_u_w, ducted.duct_heat_w / sqrt(12.0))
    u = hypot(capacity * exhaust.u * rise, rejected_u * carried / rejected) / rejected
    closure = carried / rejected
    return (
        CrossCheck(
            name="exhaust air against the balance",
            value=closure,
            u95=2.0 * u,
            quantity_unit="1",
            expected="1",
            passed=abs(closure - 1.0) <= 2.0 * u,
            because=f"The stated flow carries {carried:.0f} W away at a rise of {rise:.1f} K; capacity and power less "
            f"half of the ducts' heat are {rejected:.0f} W.",
        ),
    )


def _inlet(point: Point, kind: UnitKind) -> Measured:
    """Return the temperature of the air that the condenser breathes: the room's, where one duct is all there is."""
    room = point.conditions["room_temp_c"]
    return point.conditions.get("condenser_inlet_temp_c", room) if kind in PORTABLE else room


def _room_ratio(point: Point, pressure_pa: float) -> float:
    room, conditions = point.conditions["room_temp_c"].value, point.conditions
    if "room_wet_bulb_c" in conditions:
        return float(humidity_ratio_from_wet_bulb(room, conditions["room_wet_bulb_c"].value, pressure_pa))
    if "room_rh_percent" in conditions:
        return float(humidity_ratio(room, conditions["room_rh_percent"].value, pressure_pa))
    return TYPICAL_RATIO


def _latent(
    sensible_w: float,
    ratio: float,
    coil: CoilTemp | None,
    point: Point,
    condensed: WaterRate | None,
    pressure_pa: float,
) -> Measured:
    """Heat of what the coil condensed: weighed, else by the coil's temperature. [W]"""
    if condensed is not None:
        u = hypot(condensed.u_kg_per_s, condensed.gain_u * condensed.kg_per_s)
        return Measured(value=LATENT_HEAT_J_PER_KG * condensed.kg_per_s, u=LATENT_HEAT_J_PER_KG * u)
    entering = point.conditions.get("return_temp_c", point.conditions["room_temp_c"]).value
    known = ratio if "room_wet_bulb_c" in point.conditions or "room_rh_percent" in point.conditions else None
    return unseen_latent_w(sensible_w, known, coil, entering, pressure_pa)
