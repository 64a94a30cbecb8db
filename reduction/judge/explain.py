"""The shortfall explained: from the claim to what was measured, step by step, summing exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.balance.coil import working_wet_bulb_c
from reduction.ground.moist_air import humidity_ratio_from_wet_bulb, saturation_humidity_ratio, wet_bulb_c
from reduction.ground.rounding import with_unit
from reduction.judge.claims import Claimed
from reduction.judge.own_surface import PRIOR
from reduction.judge.rated_point import RatedPoint
from reduction.judge.surfaces import maps_for
from reduction.session import Condition, Measured, Step

FloatArray = NDArray[np.float64]

UNSEEN = "Not seen by the balance"
SHARE_PER_K = 0.03  # of capacity by kelvin of wet bulb: the slope of the published maps of room units near their rating


@dataclass(frozen=True)
class Shown:
    """What was measured of a capacity, as it stands on the page, and what may have condensed unseen.

    `measured` is the total, or the sensible part where `unseen_latent` is not None: then that is what the balance may
    have missed. `power_at_full_speed_w` is the interval full speed would have drawn, `on_share` of a cycling unit.
    """

    measured: Measured
    unseen_latent: Measured | None = None
    power_at_full_speed_w: tuple[float, float] | None = None
    on_share: float | None = None


def shortfall(point: RatedPoint, claimed: Claimed, shown: Shown) -> tuple[Step, ...]:
    """Return the steps from the claimed capacity to the measured one; their values sum to what was measured.

    The order is: claim, room temperature, room humidity, outdoor temperature, what the balance could not see, what
    limited the unit, remainder. Humidity is taken after temperature, at which the claim's water content is kept, so
    the two together are exactly the step of the published maps. Each step is the mean over the maps and its u is
    their spread and the unknown slope of this unit; a remainder within twice its u is no shortfall.

    Returns
    -------
    tuple[Step, ...]
        Empty where no capacity is claimed or the claim's condition is not known. [W]
    """
    if claimed.capacity_w is None or claimed.condition.room_wet_bulb_c is None:
        return ()
    steps = [_claim(claimed), *_conditions(point, claimed)]
    steps.append(_unseen(shown))
    steps.append(_limited(point, shown, math.fsum(step.value_w for step in steps)))
    return (*steps, _remainder(shown.measured, steps))


def _claim(claimed: Claimed) -> Step:
    assumed = " (assumed: the claim names none)" if claimed.condition_assumed else ""
    because = f"Stated by the maker at {_words(claimed.condition)}{assumed}."
    return Step(name="Claim", value_w=claimed.capacity_w or 0.0, u_w=0.0, kind="claim", because=because)


def _conditions(point: RatedPoint, claimed: Claimed) -> list[Step]:
    """Return the three steps of the published maps: room temperature, room humidity, outdoor temperature."""
    condition, here = claimed.condition, point.wet_bulb
    same_water, there = _same_water_wet_bulb_c(point, condition), point.outdoor_temp_c.value
    wet_bulb, outdoor = condition.room_wet_bulb_c or 0.0, condition.outdoor_temp_c or 0.0
    shares = _map_shares(
        point, [(wet_bulb, outdoor), (same_water, outdoor), (here.value, outdoor), (here.value, there)]
    )
    x_sd, y_sd = PRIOR["capacity"]
    of_humidity = math.hypot(abs(here.value - same_water) * x_sd, here.u * SHARE_PER_K)
    slopes = (abs(same_water - wet_bulb) * x_sd, of_humidity, abs(there - outdoor) * y_sd)
    known = "" if point.room_wet_bulb_c else " Room humidity is not known: a dry coil to a saturated room."
    named = {
        "Room temperature": f"The room stood at {point.room_temp_c.value:.1f} °C instead of "
        f"{condition.room_temp_c:.1f} °C.",
        "Room humidity": f"The coil worked as at {here.value:.1f} °C wet bulb instead of {same_water:.1f} °C.{known}",
        "Outdoor temperature": f"Outdoor air was {there:.1f} °C instead of {outdoor:.1f} °C.",
    }
    capacity = claimed.capacity_w or 0.0
    return [
        Step(
            name=name,
            value_w=capacity * float(share.mean()),
            u_w=capacity * math.hypot(float(share.std()), slope),
            kind="modelled",
            because=f"{because} Published maps.",
        )
        for (name, because), share, slope in zip(named.items(), shares.T, slopes, strict=True)
    ]


def _map_shares(point: RatedPoint, places: list[tuple[float, float]]) -> FloatArray:
    """Change of capacity over the rated one from each place (wet bulb, outdoor) to the next, shape (maps, steps)."""
    maps = maps_for(point.kind)
    shares = np.array([[each.relative_capacity(*place) for place in places] for each in maps])
    return np.asarray(np.diff(shares / shares[:, :1], axis=1))


def _same_water_wet_bulb_c(point: RatedPoint, condition: Condition) -> float:
    """Wet bulb [°C] of the room as warm as it was with the claim's water content, no less than a dry coil's."""
    room, pressure = point.room_temp_c.value, point.pressure_pa
    ratio = float(
        humidity_ratio_from_wet_bulb(condition.room_temp_c or room, condition.room_wet_bulb_c or room, pressure)
    )
    kept = float(wet_bulb_c(room, min(ratio, float(saturation_humidity_ratio(room, pressure))), pressure))
    low, high = working_wet_bulb_c(room, kept, point.coil, pressure)
    return 0.5 * (low + high)


def _unseen(shown: Shown) -> Step:
    if shown.unseen_latent is None:
        because = "Total capacity was measured, water included."
        return Step(name=UNSEEN, value_w=0.0, u_w=0.0, kind="measured", because=because)
    unseen = shown.unseen_latent
    amount = with_unit(unseen.value, 2.0 * unseen.u, "W")
    because = f"Only sensible heat was measured; by coil temperature and room moisture {amount} may have condensed."
    return Step(name=UNSEEN, value_w=-unseen.value, u_w=unseen.u, kind="modelled", because=because)


def _limited(point: RatedPoint, shown: Shown, expected_w: float) -> Step:
    """Return what a limit cost: bounded by the share of full power (or of time) on one side, nothing on the other."""
    verdict, name = point.limit.verdict, "Limit"
    if verdict in ("at full speed", "cannot tell"):
        because = f"{verdict.capitalize()}: nothing is taken off for a limit."
        return Step(name=name, value_w=0.0, u_w=0.0, kind="modelled", because=because)
    if verdict == "cycling" and shown.on_share is not None:
        cost, doubt = expected_w * (1.0 - shown.on_share), 0.1 * expected_w * (1.0 - shown.on_share)
        because = f"The compressor ran {shown.on_share:.0%} of the time."
    elif shown.power_at_full_speed_w:
        most = expected_w * max(0.0, 1.0 - point.power.value / shown.power_at_full_speed_w[1])
        cost, doubt = 0.5 * most, most / math.sqrt(12.0)
        because = (
            f"{verdict.capitalize()}: it drew {point.power.value:.0f} W of up to "
            f"{shown.power_at_full_speed_w[1]:.0f} W at full speed, and capacity falls by at most that share."
        )
    else:
        cost, doubt = 0.5 * expected_w, expected_w / math.sqrt(12.0)
        because = f"{verdict.capitalize()}: how much that cost cannot be told without a claimed power."
    return Step(name=name, value_w=-cost, u_w=doubt, kind="modelled", because=because)


def _remainder(measured: Measured, steps: list[Step]) -> Step:
    value = measured.value - math.fsum(step.value_w for step in steps)
    u = math.hypot(measured.u, *(step.u_w for step in steps))
    shown = with_unit(value, 2.0 * u, "W")
    if abs(value) <= 2.0 * u:
        because = f"{shown}: within what the steps and the measurement are known to, so no shortfall."
    else:
        because = f"{shown}: {'less' if value < 0 else 'more'} than the claim explains."
    return Step(name="Remainder", value_w=value, u_w=u, kind="remainder", because=because)


def _words(condition: Condition) -> str:
    return (
        f"{condition.room_temp_c:.1f}/{condition.room_wet_bulb_c:.1f} °C in the room, "
        f"{condition.outdoor_temp_c:.1f} °C outdoors"
    )
