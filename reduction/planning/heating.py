"""How much heat a planned test needs, shared between heaters, and the circuits they hang on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from reduction.ground.constants import LATENT_HEAT_J_PER_KG, SECONDS_PER_HOUR
from reduction.planning.circuits import CircuitLoad, assign, heaters_needed
from reduction.planning.forecast import Run
from reduction.planning.plan_request import PlanRequest
from reduction.planning.sizing import people_heat_w
from reduction.room.envelope import conductances

MARGIN = 1.15  # for a unit better than claimed, common practice, no source
CONSTANT_SHARE = 0.70  # of the expected heat; 60–80 % is common practice, no source
LEAST_CONSTANT_SHARE = 0.60
SWITCHED_OVER_REST = 1.5  # of what is left to a switched heater, so that its duty stays within 30–70 %; as above


@dataclass(frozen=True)
class Heat:
    """Gain through the envelope, constant and switched heat [W], duty of the switched heater, water to give [kg/h]."""

    gain_w: float
    constant_w: float
    switched_w: float
    duty: float
    water_kg_per_h: float


def heat_to_install(request: PlanRequest, run: Run, latent_w: float) -> Heat:
    """Share the heat a run needs between a constant and a switched heater, less what comes by itself."""
    outside = {"outdoor": run.outdoor_temp_c}
    gain = sum(
        surface.ua_w_per_k * (outside.get(surface.to, run.adjacent_temp_c) - run.room_temp_c)
        for surface in conductances(request.room)
    )
    sensible, latent = people_heat_w(request.people)
    expected = max(0.0, run.capacity_w - gain - request.other_loads_w - sensible - latent)
    constant = _whole_heaters(CONSTANT_SHARE * expected, LEAST_CONSTANT_SHARE * expected, request)
    switched = max(SWITCHED_OVER_REST * (expected - constant), MARGIN * expected - constant)
    water = max(0.0, latent_w - latent) / LATENT_HEAT_J_PER_KG * SECONDS_PER_HOUR
    return Heat(gain, constant, switched, (expected - constant) / switched if switched else 0.0, water)


def _whole_heaters(wanted_w: float, least_w: float, request: PlanRequest) -> float:
    """Constant heat cut to what whole circuits carry, where that still is enough: one circuit less."""
    limit = min(circuit.limit_w for circuit in request.circuits)
    cut = wanted_w // limit * limit
    return cut if cut >= max(least_w, limit) else wanted_w


def circuits_for(request: PlanRequest, heat: Heat, power_w: float) -> dict[str, Any]:
    """Return the circuits of a plan: loads hung on what there is, or a sentence that says why they do not fit."""
    smallest = min(request.circuits, key=lambda each: each.limit_w)
    largest = max(request.circuits, key=lambda each: each.limit_w)
    unit = CircuitLoad(name="air conditioner", power_w=max(power_w, 1.0))
    for biggest in (largest, smallest):
        heaters = [
            CircuitLoad(name=f"{name} heater {n + 1}", power_w=watts / count)
            for name, watts in (("constant", heat.constant_w), ("switched", heat.switched_w))
            for count in [heaters_needed(watts, biggest)]
            for n in range(count)
        ]
        uses, left = assign([unit, *heaters], request.circuits)
        if not left:
            break
    needed = len(heaters) + 1
    refused = (
        f"Refused: {heat.constant_w + heat.switched_w:.0f} W of heat and a unit of {power_w:.0f} W need {needed} "
        f"circuits of {smallest.rating_a:g} A, each with one load of at most {smallest.limit_w:,.0f} W "
        f"(80 %); {len(request.circuits)} given, the largest for {largest.limit_w:,.0f} W."
    )
    return {
        "circuits": uses,
        "circuits_needed": needed,
        "fits_circuits": not left,
        "circuits_because": refused if left else "Every load hangs on a circuit of its own within its limit.",
    }
