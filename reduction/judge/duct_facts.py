"""What is stated of a portable's ducts, and what still lacks for its seasonally adjusted capacity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot, sqrt

from reduction.ground.constants import SECONDS_PER_HOUR
from reduction.session import (
    Compressor,
    Ducts,
    Finding,
    Measured,
    Point,
    Severity,
    UnitKind,
    UnitUnderTest,
)

PORTABLE = (UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE)
USUAL_U95 = {"flow": 0.20, "area": 0.10}  # shares of what is stated without its ±; common practice, no source
SURFACE_SLACK_K = 2.0  # for air that differs along the duct, common practice, no source
USUAL_SURFACE_U95_K = 4.0  # likewise of the mean along a duct

NAMES = {
    "exhaust_flow": "exhaust air flow",
    "intake_flow": "intake air flow",
    "exhaust_area": "exhaust duct's surface",
    "intake_area": "intake duct's surface",
    "exhaust_surface": "exhaust duct's temperature",
    "intake_surface": "intake duct's temperature",
}


def flow_of(ducts: Ducts, which: str) -> Measured:
    """Return a duct's stated air flow with its u. [m³/s of the air in the duct]

    Examples
    --------
    >>> flow_of(Ducts(exhaust_flow_m3_per_h=360.0), "exhaust")
    Measured(value=0.1, u=0.01)
    """
    value = getattr(ducts, f"{which}_flow_m3_per_h") or 0.0
    u95 = getattr(ducts, f"{which}_flow_u95_m3_per_h")
    u95 = USUAL_U95["flow"] * value if u95 is None else u95
    return Measured(value=value / SECONDS_PER_HOUR, u=u95 / 2.0 / SECONDS_PER_HOUR)


def area_of(ducts: Ducts, which: str) -> Measured:
    """Return a duct's stated outer surface with its u. [m²]"""
    value, u95 = getattr(ducts, f"{which}_area_m2") or 0.0, getattr(ducts, f"{which}_area_u95_m2")
    return Measured(value=value, u=(USUAL_U95["area"] * value if u95 is None else u95) / 2.0)


def surface_of(ducts: Ducts, which: str) -> Measured:
    """Return the stated temperature of a duct's outer surface with its u. [°C]"""
    value, u95 = getattr(ducts, f"{which}_surface_temp_c"), getattr(ducts, f"{which}_surface_u95_c")
    return Measured(value=value, u=(USUAL_SURFACE_U95_K if u95 is None else u95) / 2.0)


def ducts_of(kind: UnitKind) -> tuple[str, ...]:
    """Return which ducts a kind of portable has."""
    return ("exhaust", "intake") if kind is UnitKind.DUAL_DUCT_PORTABLE else ("exhaust",)


def drawn_in_temp_c(conditions: Mapping[str, Measured]) -> Measured | None:
    """Return the temperature of the air that comes in for what the exhaust blows out; None where nothing tells it.

    Where it was not logged it is between outdoors and next door, any place alike. [°C]
    """
    if "makeup_air_temp_c" in conditions:
        return conditions["makeup_air_temp_c"]
    outdoor, adjacent = conditions.get("outdoor_temp_c"), conditions.get("adjacent_temp_c")
    if outdoor is None or adjacent is None:
        return None
    apart = abs(outdoor.value - adjacent.value)
    u = hypot(apart / sqrt(12.0), outdoor.u, adjacent.u)
    return Measured(value=0.5 * (outdoor.value + adjacent.value), u=u)


def ducts_missing(unit: UnitUnderTest, conditions: Mapping[str, Measured]) -> tuple[str, ...]:
    """Name what a window lacks to tell the machine from its ducts, in a tester's words.

    Examples
    --------
    >>> unit = UnitUnderTest(model="Wheeler", kind=UnitKind.SINGLE_DUCT_PORTABLE)
    >>> ducts_missing(unit, {})[0]
    "the exhaust duct's air flow"
    """
    lacks = []
    for which in ducts_of(unit.kind):
        stated = {
            "air flow": getattr(unit.ducts, f"{which}_flow_m3_per_h"),
            "outer surface": getattr(unit.ducts, f"{which}_area_m2"),
            "surface temperature": getattr(unit.ducts, f"{which}_surface_temp_c"),
        }
        lacks += [f"the {which} duct's {what}" for what, value in stated.items() if value is None]
    if "condenser_outlet_temp_c" not in conditions:
        lacks.append("the temperature of the exhaust air (a channel for the condenser's outlet)")
    if unit.kind is UnitKind.DUAL_DUCT_PORTABLE and "condenser_inlet_temp_c" not in conditions:
        lacks.append("the temperature of the intake air (a channel for the condenser's inlet)")
    if drawn_in_temp_c(conditions) is None:
        lacks.append("the temperature of the air drawn into the room (a channel for make-up air)")
    lacks += [
        f"a surface temperature of the {which} duct that lies between the room's and its air's"
        for which in ducts_of(unit.kind)
        if _beyond_its_air(unit.ducts, which, conditions)
    ]
    return tuple(lacks)


def _beyond_its_air(ducts: Ducts, which: str, conditions: Mapping[str, Measured]) -> bool:
    """Whether a stated surface is warmer or colder than both the room and the air in the duct, beyond its errors."""
    air = conditions.get("condenser_outlet_temp_c" if which == "exhaust" else "condenser_inlet_temp_c")
    if air is None or "room_temp_c" not in conditions or getattr(ducts, f"{which}_surface_temp_c") is None:
        return False
    surface, ends = surface_of(ducts, which), sorted((air.value, conditions["room_temp_c"].value))
    slack = 2.0 * hypot(surface.u, air.u) + SURFACE_SLACK_K
    return not ends[0] - slack <= surface.value <= ends[1] + slack


def ducts_findings(unit: UnitUnderTest, points: Sequence[Point]) -> tuple[Finding, ...]:
    """Say for a portable what its seasonally adjusted capacity still lacks, where it was at full speed at all."""
    full = [point for point in points if point.usable and point.limit.verdict == "at full speed"]
    if unit.kind not in PORTABLE or not full:
        return ()
    if unit.compressor is Compressor.VARIABLE_SPEED:
        return (
            _finding("A variable-speed portable is rated from tests at several speeds; none of them is known here."),
        )
    lacks = min((ducts_missing(unit, point.conditions) for point in full), key=len)
    if not lacks:
        return ()
    listed = ", ".join(lacks[:-1]) + (" and " if len(lacks) > 1 else "") + lacks[-1]
    return (_finding(f"No seasonally adjusted capacity (SACC) yet: its procedure also asks for {listed}."),)


def _finding(sentence: str) -> Finding:
    remedy = "" if "several speeds" in sentence else "State it under the facts of the session, or log it."
    return Finding(code="sacc_not_known", severity=Severity.NOTE, sentence=sentence, remedy=remedy)
