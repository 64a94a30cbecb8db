"""What cannot be: a point that contradicts physics is said to, and is not used."""

from __future__ import annotations

from math import inf

from reduction.ground.constants import KELVIN_OFFSET
from reduction.ground.rounding import with_unit
from reduction.judge.airside import CLOSURE
from reduction.judge.claims import claim_in_si
from reduction.session import CrossCheck, Finding, Measured, Point, Severity, UnitUnderTest

MOST_RH = 100.0
ORDINARY = {
    "capacity": (300.0, 20_000.0, "W"),
    "sacc": (300.0, 20_000.0, "W"),
    "power": (30.0, 8_000.0, "W"),
    "eer": (2.0, 40.0, "Btu/(W·h)"),
    "ceer": (2.0, 40.0, "Btu/(W·h)"),
    "seer": (2.0, 60.0, "Btu/(W·h)"),
    "cop": (0.6, 12.0, "W/W"),
    "air_flow": (50.0, 3_000.0, "m³/h"),
    "sound": (15.0, 90.0, "dB(A)"),
}
"""What claims of room units lie between, wide; common practice, no source."""
LEAST_LIFT_K = 1.0
FAR_MORE = 1.5  # heat of the balance over that of the claimed air flow, or the reverse, less U95: no fan explains it
MOST_COP = 20.0  # of any room unit, whatever the temperatures: twice what the best reach; common practice, no source
WARM_SUPPLY = "its supply air was warmer than the air that enters"
_REVERSED = {
    WARM_SUPPLY: ("supply_temp_c", "return_temp_c", "room_temp_c"),
    "the outdoor air left its other coil colder than it came": ("condenser_inlet_temp_c", "condenser_outlet_temp_c"),
}


def impossibilities(point: Point, off_below_w: float = 0.0) -> tuple[Finding, ...]:
    """Findings about a point that cannot be true, or that says nothing.

    Parameters
    ----------
    point
        As propagated, before anything is concluded from it.
    off_below_w
        Power up to which the unit counts as off: no capacity is then expected. [W]

    Returns
    -------
    tuple of Finding
        Severe ones make the point unusable.

    References
    ----------
    Carnot's limit for a machine between the room's air and the condenser's inlet: any textbook.
    """
    checks: tuple[Finding | None, ...] = (_open_while_off(point), _humidity(point))
    if not was_off(point, off_below_w):
        checks = (_heated(point), _above_carnot(point), _too_wide(point), _humidity(point), _backwards(point))
    return tuple(finding for finding in checks if finding is not None)


def absurd_claims(unit: UnitUnderTest) -> tuple[Finding, ...]:
    """Findings about claims that no room unit can have: a slip of the unit of measure or of the decimal point."""
    found = []
    for claim in unit.claims:
        value, stated = claim_in_si(claim), f"{claim.value:g} {claim.quantity_unit}"
        low, high, symbol = ORDINARY.get(claim.quantity, (0.0, inf, ""))
        if not low <= value <= high:
            found.append(
                Finding(
                    code="absurd_claim",
                    severity=Severity.WARNING,
                    sentence=f"The claim of {claim.quantity.replace('_', ' ')}, {stated}, is {value:.4g} {symbol}; "
                    f"room units lie between {low:g} and {high:g} {symbol}.",
                    subject=unit.model,
                    remedy="Check the figure and its unit of measure on the nameplate.",
                )
            )
    return tuple(found)


def with_failed_checks(point: Point) -> Point:
    """The point with a finding for every cross-check it failed; not usable where balance and air are far apart."""
    failed = [check for check in point.cross_checks if check.passed is False]
    if not failed:
        return point
    found = tuple(_failed(point, check) for check in failed)
    concluded: dict[str, object] = {"findings": (*point.findings, *found)}
    if any(finding.severity is Severity.SEVERE for finding in found):
        concluded |= {"usable": False, "ratings": (), "verdicts": (), "shortfall": ()}
    return point.model_copy(update=concluded)


def _failed(point: Point, check: CrossCheck) -> Finding:
    sentence = f"The check of {check.name} fails (expected: {check.expected}). {check.because}"
    closure = (check.value, check.u95 or 0.0) if check.name == CLOSURE and check.value is not None else (1.0, 0.0)
    if closure[0] - closure[1] > FAR_MORE:
        return _finding(
            point, "heat_not_accounted_for", Severity.SEVERE, sentence,
            "Look for a heater or another source that is not logged, or a wrong unit of a power.",
        )  # fmt: skip
    if closure[0] > 0.0 and (closure[0] + closure[1]) * FAR_MORE < 1.0:
        return _finding(
            point, "more_heat_than_the_air_carries", Severity.SEVERE, sentence,
            "Look for a heater power with a wrong unit or counted twice, and check the air flow the maker states.",
        )  # fmt: skip
    return _finding(
        point, "cross_check_failed", Severity.WARNING, sentence,
        "Look at the channels this check rests on before trusting the balance.",
    )  # fmt: skip


def was_off(point: Point, off_below_w: float) -> bool:
    """Say whether the unit's power is known and says that its compressor did not run."""
    return point.cop is not None and point.power_w <= off_below_w


def is_off(point: Point) -> bool:
    """Say whether nought lies within the interval of the capacity, so that the unit may as well have been off."""
    return point.interval_w[0] <= 0.0 <= point.interval_w[1]


def carnot_cop(point: Point) -> float:
    """The most heat per work any machine could move at these temperatures; infinite without a lift.

    The refrigerant boils no warmer than the supply air leaves the coil and condenses no colder than the outdoor air
    leaves the condenser; where those are not logged, the room and the condenser's inlet bound it less closely.
    """
    known = {name: measured.value for name, measured in point.conditions.items()}
    if "room_temp_c" not in known or not known.keys() & {"condenser_inlet_temp_c", "outdoor_temp_c"}:
        return inf
    cold_c = min(known["room_temp_c"], known.get("supply_temp_c", inf))
    inlet_c = known.get("condenser_inlet_temp_c", known.get("outdoor_temp_c", -inf))
    lift_k = max(inlet_c, known.get("condenser_outlet_temp_c", -inf)) - cold_c
    return (cold_c + KELVIN_OFFSET) / lift_k if lift_k >= LEAST_LIFT_K else inf


def _finding(point: Point, code: str, severity: Severity, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=severity, sentence=sentence, subject=point.label, remedy=remedy)


def _open_while_off(point: Point) -> Finding:
    off = f"The unit was off: it drew {with_unit(point.power_w, point.power_u95_w, 'W')}."
    left = with_unit(point.capacity_w, point.capacity_u95_w, "W")
    if is_off(point):
        return _finding(
            point, "unit_off", Severity.NOTE,
            f"{off} What the balance leaves, {left}, is nothing within its uncertainty, as it must be; it is no "
            "capacity.",
            "For a capacity let the unit run against metered heaters.",
        )  # fmt: skip
    return _finding(
        point, "open_while_off", Severity.SEVERE,
        f"{off} Yet the balance leaves {left}, where nothing should be left.",
        "Look for a heat source that is not metered, a wrong UA of the room or a wrong unit of a power.",
    )  # fmt: skip


def _heated(point: Point) -> Finding | None:
    if point.interval_w[1] >= 0.0:
        return None
    heat = with_unit(-point.capacity_w, point.capacity_u95_w, "W")
    signs = [words for words, excess_k in _REVERSED.items() if _excess_k(point, *excess_k) > 0.0]
    if signs:
        return _finding(
            point, "heating_mode", Severity.SEVERE,
            f"The unit heated: {' and '.join(signs)}, and the balance says it gave the room {heat}. Only cooling is "
            "rated here; heating with a reversed cycle is another test, with other conditions.",
            "Set the unit to cooling. If it did cool, two probes are swapped and a heater is missing.",
        )  # fmt: skip
    return _finding(
        point, "negative_capacity", Severity.SEVERE,
        f"The balance says the unit heated the room by {heat}, beyond its uncertainty.",
        "Look for a swapped pair, a wrong sign, a missing heater or a unit in heating mode, which is not rated here.",
    )  # fmt: skip


def _above_carnot(point: Point) -> Finding | None:
    if point.cop is None or point.cop_u95 is None or point.power_w <= 0.0:
        return None
    most = carnot_cop(point)
    if point.cop - point.cop_u95 <= min(most, MOST_COP):
        return None
    bound = (
        f"any machine can reach between these temperatures ({most:.1f} by Carnot)"
        if most < MOST_COP
        else f"any room unit reaches ({MOST_COP:.0f} is twice the best)"
    )
    return _finding(
        point, "cop_above_carnot", Severity.SEVERE,
        f"A COP of {with_unit(point.cop, point.cop_u95, 'W/W')} is more than {bound}.",
        "Check the unit of the power channels and whether the unit's whole supply runs through its meter.",
    )  # fmt: skip


def _too_wide(point: Point) -> Finding | None:
    if not is_off(point) or point.interval_w[1] < 0.0:
        return None
    return _finding(
        point, "capacity_not_above_zero", Severity.SEVERE,
        f"The capacity, {with_unit(point.capacity_w, point.capacity_u95_w, 'W')}, cannot be told from nothing: the "
        "unit was off, or the uncertainty is too large to say anything.",
        "For a capacity let the unit run against metered heaters in a room whose UA is known.",
    )  # fmt: skip


def _humidity(point: Point) -> Finding | None:
    rh = point.conditions.get("room_rh_percent")
    if rh is None or rh.value < MOST_RH:
        return None
    return _finding(
        point, "humidity_above_100", Severity.SEVERE,
        f"The room's relative humidity reads {rh.value:.0f} %, which moist air in a heated room cannot have.",
        "The hygrometer is wet or broken: leave it out.",
    )  # fmt: skip


def _excess_k(point: Point, warm: str, *cold: str) -> float:
    """How much warmer a condition is than the first known of others [K], where that is beyond their errors; else 0."""
    high = point.conditions.get(warm)
    low: Measured | None = next((point.conditions[name] for name in cold if name in point.conditions), None)
    if high is None or low is None:
        return 0.0
    excess = high.value - low.value
    return excess if excess > 2.0 * (high.u**2 + low.u**2) ** 0.5 else 0.0


def _backwards(point: Point) -> Finding | None:
    excess = _excess_k(point, *_REVERSED[WARM_SUPPLY])
    if excess <= 0.0 or point.interval_w[0] <= 0.0:
        return None
    return _finding(
        point, "supply_warmer_than_return", Severity.WARNING,
        f"The supply air is {excess:.1f} K warmer than the return air while the unit cools.",
        "The two probes are probably swapped: exchange their roles.",
    )  # fmt: skip
