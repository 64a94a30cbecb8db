"""What limited the unit in a window, from evidence, with the sentence that says so."""

from __future__ import annotations

from dataclasses import dataclass

from reduction.balance.coil import CoilTemp, coil_temp, dry_wet_bulb_c, working_wet_bulb_c
from reduction.ground.constants import STANDARD_PRESSURE_PA
from reduction.ground.rounding import with_unit
from reduction.judge.claims import Claimed, tolerance_of
from reduction.judge.surfaces import maps_for
from reduction.session import Compressor, Limit, UnitKind

NEAR_FREEZING_C = 2.0  # the coil's interval reaching this is the first half of the signature
OFF_W = 60.0  # electronics and a fan without a compressor draw less, common practice, no source
OFF_SHARE = 0.10  # of the claimed power; inverter compressors do not run below it, common practice, no source
CYCLES_TO_SAY_SO = 1.0  # one off-and-on of the compressor inside a window already makes its mean an average of both
LIKELY_FREEZING_C = 3.5  # middle of the interval: a held-back coil blows 6–7 °C into a 22 °C room, common practice
DRY_COIL_SHARE = 0.05  # a dry coil draws less than maps of wet ones say; common practice, no source
HIGHER_SEEN = 1.10  # times the power at equal or lower lift: more than conditions alone make, less than a step of speed
SAME_LIFT_K = 0.5
HUNGRY_K = 1.0  # above its set point a thermostat asks for all there is; common practice, no source
FALL_SEEN = 0.5  # of the fall the maps expect between two outdoor temperatures; less counts as no fall


@dataclass(frozen=True)
class OtherWindow:
    """Another point of the same unit: its power shows what the unit can draw, its capacity what it can give."""

    power_w: float
    capacity_w: float
    capacity_u_w: float
    room_temp_c: float
    outdoor_temp_c: float


@dataclass(frozen=True)
class SeenLevel:
    """A level of power seen anywhere in the session, with the temperatures [°C] it worked between."""

    power_w: float
    room_temp_c: float
    outdoor_temp_c: float


@dataclass(frozen=True)
class WindowFacts:
    """What a window says about the state of the unit; None is unknown.

    `outdoor_temp_c` is at the condenser inlet where that is measured. `unit_cycles` counts off-and-on cycles of the
    compressor within the window; `unsteady_because` is empty for a steady window. Temperatures [°C], u standard.
    """

    kind: UnitKind
    compressor: Compressor
    bypass_factor: tuple[float, float]
    power_w: float
    power_u_w: float
    capacity_w: float
    capacity_u_w: float
    room_temp_c: float
    room_wet_bulb_c: float | None = None
    outdoor_temp_c: float | None = None
    supply_temp_c: float | None = None
    return_temp_c: float | None = None
    split_u_c: float = 0.0
    unit_cycles: float = 0.0
    on_share: float | None = None
    unsteady_because: str = ""
    set_room_temp_c: float | None = None
    pressure_pa: float = STANDARD_PRESSURE_PA
    others: tuple[OtherWindow, ...] = ()
    levels: tuple[SeenLevel, ...] = ()

    @property
    def coil(self) -> CoilTemp | None:
        """Interval of the coil's surface temperature, where supply air was measured, and measured cooler."""
        entering = self.room_temp_c if self.return_temp_c is None else self.return_temp_c
        if self.supply_temp_c is None or self.supply_temp_c >= entering:
            return None
        return coil_temp(self.supply_temp_c, entering, self.bypass_factor, self.split_u_c)


@dataclass(frozen=True)
class _Throttle:
    """Whether the unit drew less than at full speed, and why that is thought; None: no evidence."""

    throttled: bool | None
    because: str


def what_limited(facts: WindowFacts, claimed: Claimed, full_speed_w: tuple[float, float] | None = None) -> Limit:
    """Say what limited the unit in a window: one word of eight, the evidence, and where it helps a projection.

    Parameters
    ----------
    facts
        What the window says about the unit.
    claimed
        The maker's figures; the claimed power, brought to the window's condition by the published maps, is what full
        speed would draw.
    full_speed_w
        Interval of capacity of a point at full speed of the same unit, brought to the claim's condition; it narrows
        the projection. [W]

    References
    ----------
    Near-freezing signature: common practice, no source: in a 22 °C room at full fan a small window unit's supply air
    bottoms at 6–7 °C and its capacity does not fall while the outdoor side gets hotter and its power rises.
    """
    coil = facts.coil
    interval = (coil.low_c, coil.high_c) if coil else None
    for judge in (_off, _cycling, _not_steady):
        if limit := judge(facts, claimed):
            return limit.model_copy(update={"coil_temp_c": interval})
    throttle = _throttle(facts, claimed)
    verdict, because = _verdict(facts, coil, throttle)
    limit = Limit(verdict=verdict, because=because, coil_temp_c=interval)
    if limit.verdict != "coil near freezing":
        return limit
    projection, why = _projection(facts, claimed, full_speed_w)
    return limit.model_copy(update={"projection_w": projection, "projection_because": why})


def full_speed_power_w(facts: WindowFacts, claimed: Claimed) -> tuple[float, float, float] | None:
    """Return lowest, middle and highest power [W] full speed would draw in the window's condition, or None.

    The claimed power is carried from the claim's condition by each published map for this kind of unit, at both ends
    of the interval of wet bulb (a dry coil follows the dry bulb).
    """
    if claimed.power_w is None or facts.outdoor_temp_c is None:
        return None
    condition = claimed.condition
    wet_bulb, outdoor = condition.room_wet_bulb_c, condition.outdoor_temp_c
    if wet_bulb is None or outdoor is None:
        return None
    edges = working_wet_bulb_c(facts.room_temp_c, facts.room_wet_bulb_c, facts.coil, facts.pressure_pa)
    powers = sorted(
        claimed.power_w * each.relative_power(edge, facts.outdoor_temp_c) / each.relative_power(wet_bulb, outdoor)
        for each in maps_for(facts.kind)
        for edge in edges
    )
    return powers[0], sum(powers) / len(powers), powers[-1]


def off_below_w(claimed: Claimed) -> float:
    """Power up to which a unit counts as off. [W]"""
    return min(OFF_W, OFF_SHARE * claimed.power_w) if claimed.power_w else OFF_W


def _off(facts: WindowFacts, claimed: Claimed) -> Limit | None:
    if facts.power_w > off_below_w(claimed):
        return None
    drew = with_unit(facts.power_w, 2 * facts.power_u_w, "W")
    return Limit(verdict="unit off", because=f"The unit drew {drew}: its compressor did not run.")


def _cycling(facts: WindowFacts, claimed: Claimed) -> Limit | None:
    if facts.unit_cycles < CYCLES_TO_SAY_SO:
        return None
    share = "" if facts.on_share is None else f", on for {facts.on_share:.0%} of the window"
    because = (
        f"The compressor went off and on {facts.unit_cycles:.0f} times{share}: the capacity is the delivered "
        "average, not what the unit gives while it runs."
    )
    return Limit(verdict="cycling", because=because)


def _not_steady(facts: WindowFacts, claimed: Claimed) -> Limit | None:
    if not facts.unsteady_because:
        return None
    return Limit(verdict="not steady", because=f"The window is not steady: {facts.unsteady_because}")


def _throttle(facts: WindowFacts, claimed: Claimed) -> _Throttle:
    seen = _more_was_drawn(facts)
    if seen:
        return _Throttle(True, seen)
    expected = full_speed_power_w(facts, claimed)
    if expected is None:
        return _Throttle(*_flat_capacity(facts, claimed))
    low, middle, high = expected
    drew = with_unit(facts.power_w, 2 * facts.power_u_w, "W")
    at = f"full speed should draw {low:.0f} to {high:.0f} W there by the claim and published maps"
    if facts.power_w + 2 * facts.power_u_w < _least_of_full(facts) * low:
        return _Throttle(True, f"It drew {drew} where {at}")
    flat, why = _flat_capacity(facts, claimed)
    if flat and facts.power_w < middle:
        return _Throttle(True, f"{why} It drew {drew} where {at}")
    return _Throttle(False, f"It drew {drew}, and {at}")


def _least_of_full(facts: WindowFacts) -> float:
    """Share of the maps' lowest power that a unit at full speed may draw: the claim's tolerance and a dry coil's."""
    coil = facts.coil
    dry = coil is not None and coil.middle_c > LIKELY_FREEZING_C and _is_dry(facts, coil)
    return 1.0 - tolerance_of(facts.kind, "power")[0] - (DRY_COIL_SHARE if dry else 0.0)


def _is_dry(facts: WindowFacts, coil: CoilTemp) -> bool:
    """Whether the room's own wet bulb is below the one at which the coil, at its warmest, would condense."""
    wet_bulb = facts.room_wet_bulb_c
    dry_below = dry_wet_bulb_c(facts.room_temp_c, coil.high_c, facts.pressure_pa)
    return wet_bulb is None or wet_bulb < dry_below


def _more_was_drawn(facts: WindowFacts) -> str:
    if facts.outdoor_temp_c is None:
        return ""
    lift = facts.outdoor_temp_c - facts.room_temp_c
    seen = [SeenLevel(o.power_w, o.room_temp_c, o.outdoor_temp_c) for o in facts.others] + list(facts.levels)
    equal = [each for each in seen if each.outdoor_temp_c - each.room_temp_c <= lift + SAME_LIFT_K]
    top = max(equal, key=lambda each: each.power_w, default=None)
    if top is None or top.power_w < HIGHER_SEEN * facts.power_w:
        return ""
    return (
        f"It drew {facts.power_w:.0f} W although the same unit drew {top.power_w:.0f} W against no more lift "
        f"({top.room_temp_c:.1f} °C room, {top.outdoor_temp_c:.1f} °C outdoors)"
    )


def _flat_capacity(facts: WindowFacts, claimed: Claimed) -> tuple[bool | None, str]:
    """Return whether capacity failed to fall towards hotter outdoors as a unit at full speed would let it."""
    if facts.outdoor_temp_c is None:
        return None, "The outdoor temperature is not known"
    maps = maps_for(facts.kind)
    for other in facts.others:
        cool, hot = sorted((other.outdoor_temp_c, facts.outdoor_temp_c))
        if abs(other.room_temp_c - facts.room_temp_c) > 1.0 or hot - cool < 3.0:
            continue
        wet_bulb = facts.room_wet_bulb_c or 0.0
        ratio = [m.relative_capacity(wet_bulb, hot) / m.relative_capacity(wet_bulb, cool) for m in maps]
        expected = (1.0 - max(ratio)) * facts.capacity_w
        rise = (
            facts.capacity_w - other.capacity_w if hot == facts.outdoor_temp_c else other.capacity_w - facts.capacity_w
        )
        if -rise < FALL_SEEN * expected:
            return True, (
                f"Capacity did not fall from {cool:.0f} to {hot:.0f} °C outdoors "
                f"({rise:+.0f} W, a unit at full speed would lose {expected:.0f} W or more)."
            )
    return None, "No claimed power and no other window tell what full speed would draw"


def _verdict(facts: WindowFacts, coil: CoilTemp | None, throttle: _Throttle) -> tuple[str, str]:
    if facts.compressor is Compressor.FIXED_SPEED:
        frost = f" The coil, {coil}, is cold enough to frost." if coil and coil.high_c <= NEAR_FREEZING_C else ""
        return "at full speed", f"A fixed-speed compressor ran without a break. {throttle.because}.{frost}"
    if throttle.throttled is None:
        return "cannot tell", f"{throttle.because}."
    if not throttle.throttled:
        return "at full speed", f"{throttle.because}."
    if coil is None:
        return "cannot tell", (
            f"{throttle.because}; without a supply temperature a cold coil and a satisfied thermostat look alike."
        )
    if _holds_back(facts, coil):
        return "coil near freezing", (
            f"{throttle.because}; with supply air at {facts.supply_temp_c:.1f} °C the coil surface is at {coil}. In "
            "such a room the unit holds back so as not to freeze and cannot show its rated capacity."
        )
    satisfied = facts.set_room_temp_c is not None and facts.room_temp_c <= facts.set_room_temp_c + SAME_LIFT_K
    near = f" The room stood at the set {facts.set_room_temp_c:.1f} °C." if satisfied else ""
    cold = coil.low_c <= NEAR_FREEZING_C
    held = "may have come near freezing, but more likely did not" if cold else "is not what held it back"
    return "reduced speed", f"{throttle.because}; the coil surface, {coil}, {held}.{near}"


def _holds_back(facts: WindowFacts, coil: CoilTemp) -> bool:
    """Tell a coil that is held at freezing from a unit that slows down for its set point."""
    if coil.low_c > NEAR_FREEZING_C:
        return False
    hungry = facts.set_room_temp_c is not None and facts.room_temp_c > facts.set_room_temp_c + HUNGRY_K
    return hungry or coil.middle_c <= LIKELY_FREEZING_C


def _projection(
    facts: WindowFacts, claimed: Claimed, full_speed_w: tuple[float, float] | None
) -> tuple[tuple[float, float] | None, str]:
    """Return the interval of capacity in a room as dry but as warm as the claim's, and the sentence that bounds it."""
    warm, supply = claimed.condition.room_temp_c, facts.supply_temp_c
    if warm is None or supply is None or warm <= facts.room_temp_c or facts.room_temp_c <= supply:
        return None, ""
    upper = facts.capacity_w * (warm - supply) / (facts.room_temp_c - supply)
    why = (
        f"In a room at {warm:.1f} °C, as dry as this one: at least what was measured, at most what the same air flow "
        f"carries with supply air at {supply:.1f} °C."
    )
    if full_speed_w and facts.capacity_w < full_speed_w[1] < upper:
        upper, why = full_speed_w[1], f"{why} A point at full speed lowers the upper end."
    return (facts.capacity_w, upper), why
