"""How near to freezing a coil will come before a test is run, and what the room will let it show."""

from __future__ import annotations

from reduction.balance.coil import CoilTemp, coil_temp
from reduction.documents.stated import Condition
from reduction.ground.constants import LATENT_HEAT_J_PER_KG, STANDARD_PRESSURE_PA
from reduction.ground.moist_air import (
    heat_capacity_j_per_kg_k,
    humidity_ratio_from_wet_bulb,
    saturation_humidity_ratio,
    specific_volume_m3_per_kg,
)
from reduction.judge.limits import NEAR_FREEZING_C
from reduction.planning.plan_request import Freezing

DRY_ROOM_RATIO = 0.0  # kg/kg: what vapour a dry room holds does not condense, and carries next to no sensible heat


def coil_forecast(
    target: Condition, full_speed_w: float, flow_m3_per_s: float, bypass_factor: tuple[float, float], *, throttles: bool
) -> tuple[Freezing, float, float]:
    """Return the forecast at a target, the capacity to expect and its latent part [W].

    The coil that carries the full-speed capacity at this air flow is found for the middle of the bypass factor's
    band; where it would stand below NEAR_FREEZING_C a unit that can throttle holds it there and gives what the air
    flow then carries, one that cannot goes on and may ice.

    References
    ----------
    Bypass-factor model as `coil.coil_temp`; near-freezing signature as `limits.what_limited`.
    """
    room = target.room_temp_c or 0.0
    ratio = DRY_ROOM_RATIO
    if target.room_wet_bulb_c is not None:
        ratio = float(humidity_ratio_from_wet_bulb(room, target.room_wet_bulb_c))
    kg_per_s = flow_m3_per_s / specific_volume_m3_per_kg(room, ratio, STANDARD_PRESSURE_PA)
    bypass = 0.5 * sum(bypass_factor)
    surface = _surface_for(full_speed_w, room, ratio, kg_per_s * (1.0 - bypass))
    held = throttles and surface < NEAR_FREEZING_C
    sensible, latent = _carried(
        max(surface, NEAR_FREEZING_C) if held else surface, room, ratio, kg_per_s * (1.0 - bypass)
    )
    supply = room - sensible / (kg_per_s * heat_capacity_j_per_kg_k(ratio))
    coil = coil_temp(supply, room, bypass_factor)
    most = sum(_carried(NEAR_FREEZING_C, room, ratio, kg_per_s * (1.0 - bypass)))
    capacity = min(sensible + latent, full_speed_w)
    freezing = Freezing(
        coil_temp_c=(coil.low_c, coil.high_c),
        near_freezing=coil.low_c <= NEAR_FREEZING_C,
        can_show_rated_capacity=surface >= NEAR_FREEZING_C and not (throttles and coil.low_c <= NEAR_FREEZING_C),
        most_w=most,
        because=_because(coil, surface, room, full_speed_w, most, throttles=throttles),
    )
    return freezing, capacity, latent


def _carried(surface_c: float, room_c: float, ratio: float, contact_kg_per_s: float) -> tuple[float, float]:
    """Sensible and latent heat [W] that the air in contact with a surface gives up."""
    sensible = contact_kg_per_s * heat_capacity_j_per_kg_k(ratio) * (room_c - surface_c)
    wetter = max(0.0, ratio - float(saturation_humidity_ratio(surface_c)))
    return sensible, contact_kg_per_s * LATENT_HEAT_J_PER_KG * wetter


def _surface_for(heat_w: float, room_c: float, ratio: float, contact_kg_per_s: float) -> float:
    """Surface temperature [°C] at which the air gives up a heat, by bisection from far below freezing to the room."""
    low, high = -40.0, room_c
    for _ in range(50):
        middle = 0.5 * (low + high)
        if sum(_carried(middle, room_c, ratio, contact_kg_per_s)) > heat_w:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _because(
    coil: CoilTemp, surface_c: float, room_c: float, full_speed_w: float, most_w: float, *, throttles: bool
) -> str:
    at = f"In a room at {room_c:.1f} °C full speed ({full_speed_w:.0f} W) would take the coil to {surface_c:.1f} °C"
    at = at.replace("-", "−")
    if surface_c >= NEAR_FREEZING_C:
        if throttles and coil.low_c <= NEAR_FREEZING_C:
            return f"{at}, and its coldest part to {coil.low_c:.1f} °C: the unit may hold back.".replace("-", "−")
        return f"{at}: the rated capacity can show."
    if throttles:
        return f"{at}: the unit will hold back at about {most_w:.0f} W and its rated capacity cannot show in this room."
    return f"{at}: without a way to slow down the coil may ice; watch for supply air and capacity that fall together."
