"""A claim against a measurement: probabilities, the tolerance of a named scheme, and one of five wordings."""

from __future__ import annotations

from typing import Literal

from reduction.ground.constants import eer_from_cop
from reduction.ground.rounding import with_unit
from reduction.judge.claims import claim_condition, claim_in_si
from reduction.judge.decision import Belief, decided, in_words, tolerance_by
from reduction.judge.own_surface import NOT_REDUCIBLE
from reduction.judge.rated_point import RatedPoint
from reduction.judge.rating import air_side_ceiling_w, rating_correction
from reduction.session import Claim, Condition, DecisionRule, UnitKind, UnitUnderTest, Verdict

Words = Literal["meets", "meets within tolerance", "falls short", "cannot tell", "not comparable"]
Judged = Literal["capacity", "eer", "power"]

BY_DEFAULT = DecisionRule()  # the usual 95 % for each wording: JCGM 106 leaves rule and figure to the user
QUANTITY: dict[str, Judged] = {
    "capacity": "capacity",
    "sacc": "capacity",
    "eer": "eer",
    "cop": "eer",
    "ceer": "eer",
    "seer": "eer",
    "power": "power",
}
OTHER_BASIS = {
    "sacc": "a seasonally adjusted capacity weighs two outdoor temperatures and charges infiltration",
    "ceer": "CEER adds standby energy and, for variable speed, milder outdoor temperatures to an EER",
    "seer": "SEER is a season's efficiency, not that of one condition",
}
PORTABLE = (UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE)
PORTABLE_BASIS = (
    "a portable's capacity is claimed without the air it draws in and its duct's heat; measured here is net"
)
UNIT_OF: dict[Judged, str] = {"capacity": "W", "eer": "Btu/(W·h)", "power": "W"}


def worded(meets: bool | None, within: bool | None, *, may_fall_short: bool = True) -> Words:
    """Return the wording for what was decided of the claim and of the claim less the tolerance; None is undecided.

    Examples
    --------
    >>> worded(True, True), worded(None, True), worded(False, False), worded(False, None)
    ('meets', 'meets within tolerance', 'falls short', 'cannot tell')
    """
    if meets:
        return "meets"
    if within:
        return "meets within tolerance"
    return "falls short" if may_fall_short and within is False else "cannot tell"


def verdicts(point: RatedPoint, unit: UnitUnderTest, rule: DecisionRule = BY_DEFAULT) -> tuple[Verdict, ...]:
    """Judge every claim of capacity, power and efficiency by a point brought to the claim's condition.

    A claim on another basis is “not comparable” and gets no judgement. A point with its coil near freezing is judged
    by the interval from what was measured to what its air flow could carry, so it falls short only where even that
    ceiling does. A point that was off, cycling, unsteady or slowed by its thermostat says nothing of a claim.

    References
    ----------
    JCGM 106:2012, clause 7: conformance probability; clause 8: decision rules, of which the session chose one.
    """
    if point.limit.verdict in ("unit off", "not steady", "cycling", "reduced speed"):
        return ()
    judged = (_judge(claim, point, unit.kind, rule) for claim in unit.claims if claim.quantity in QUANTITY)
    return tuple(verdict for verdict in judged if verdict)


def other_basis(quantity: str, kind: UnitKind) -> str:
    """Return why a claim of this quantity is on another basis than a room's heat balance, or "" where it is not.

    Examples
    --------
    >>> other_basis("capacity", UnitKind.WINDOW)
    ''
    >>> other_basis("seer", UnitKind.MINI_SPLIT)
    "SEER is a season's efficiency, not that of one condition"
    """
    portable = kind in PORTABLE and QUANTITY.get(quantity) in ("capacity", "eer")
    return OTHER_BASIS.get(quantity) or (PORTABLE_BASIS if portable else "")


def _judge(claim: Claim, point: RatedPoint, kind: UnitKind, rule: DecisionRule) -> Verdict | None:
    quantity = QUANTITY[claim.quantity]
    value = claim_in_si(claim)
    stated = eer_from_cop(value) if claim.quantity == "cop" else value
    why = other_basis(claim.quantity, kind)
    if why:
        return _not_comparable(claim, quantity, stated, point, why)
    belief = _belief(point, claim_condition(claim, kind), quantity)
    if belief is None:
        return None
    tolerance, scheme = tolerance_by(rule, kind, quantity)
    towards, line, allowed = _axis(belief, stated, tolerance, quantity)
    middle, u95 = 0.5 * (belief.low + belief.high), 0.5 * (belief.high - belief.low) + 2.0 * belief.u
    words, why = _decision(towards, (line, allowed), tolerance, rule, point)
    return Verdict(
        claim=_title(claim),
        quantity=quantity,
        claimed=stated,
        measured=middle,
        measured_u95=u95,
        quantity_unit=UNIT_OF[quantity],
        probability_meets=towards.probability_above(line),
        probability_within_tolerance=towards.probability_above(allowed),
        tolerance=tolerance,
        scheme=scheme,
        words=words,
        because=_because(words, middle, u95, quantity, point) + why,
        rule=in_words(rule),
    )


def _decision(
    towards: Belief, lines: tuple[float, float], tolerance: float, rule: DecisionRule, point: RatedPoint
) -> tuple[Words, str]:
    """The wording, and what there is to say of how the rule came to it."""
    meets, within = (decided(towards, line, rule) for line in lines)
    words = worded(meets, within, may_fall_short=point.limit.verdict != "cannot tell")
    is_open = words == "cannot tell" and point.limit.verdict != "coil near freezing"
    return words, (_undecided(meets, within, tolerance) if is_open else "") + _shared_risk(towards, lines, rule)


def _axis(belief: Belief, stated: float, tolerance: float, quantity: Judged) -> tuple[Belief, float, float]:
    """Belief, claim and claim less its tolerance, on an axis where more is better: that of power is mirrored."""
    if quantity == "power":
        belief, stated, tolerance = Belief(-belief.high, -belief.low, belief.u), -stated, -tolerance
    return belief, stated, stated * (1.0 - tolerance)


def _belief(point: RatedPoint, condition: Condition, quantity: Judged) -> Belief | None:
    if point.limit.verdict not in NOT_REDUCIBLE:
        rated = rating_correction([point], condition)
        if rated is None:
            return None
        value, u95 = {
            "capacity": (rated.capacity_w, rated.capacity_u95_w),
            "power": (rated.power_w, rated.power_u95_w),
            "eer": (rated.eer_btu_per_wh, rated.eer_u95),
        }[quantity]
        return Belief(value, value, u95 / 2.0)
    ceiling = air_side_ceiling_w(point, condition)
    if quantity != "capacity" or ceiling is None:
        return None
    low = min(point.capacity.value, ceiling)
    return Belief(low, ceiling, point.capacity.u)


def _not_comparable(claim: Claim, quantity: Judged, stated: float, point: RatedPoint, why: str) -> Verdict:
    measured = point.figure(quantity)
    return Verdict(
        claim=_title(claim),
        quantity=quantity,
        claimed=stated,
        measured=measured.value,
        measured_u95=2.0 * measured.u,
        quantity_unit=UNIT_OF[quantity],
        probability_meets=0.0,
        probability_within_tolerance=0.0,
        tolerance=0.0,
        scheme="",
        words="not comparable",
        because=f"Another basis: {why}.",
    )


def _title(claim: Claim) -> str:
    where = f", {claim.stated_in}" if claim.stated_in else ""
    return f"{claim.quantity} {claim.value:g} {claim.quantity_unit}{where}"


def _shared_risk(belief: Belief, lines: tuple[float, float], rule: DecisionRule) -> str:
    """What simple acceptance leaves out, said where it matters: a line inside the uncertainty."""
    inside = any(belief.low - 2.0 * belief.u < line < belief.high + 2.0 * belief.u for line in lines)
    if rule.rule != "simple_acceptance" or not inside:
        return ""
    return " The line lies inside the uncertainty, which the session's rule leaves out of account."


def _because(words: Words, middle: float, u95: float, quantity: Judged, point: RatedPoint) -> str:
    figure = f"{with_unit(middle, u95, UNIT_OF[quantity])} at the claim's condition"
    if point.limit.verdict == "coil near freezing":
        return f"Between what was measured and what its air flow could carry: {figure}; the room was too cool to tell."
    return f"{figure}."


def _undecided(meets: bool | None, within: bool | None, tolerance: float) -> str:
    """Say which line it is that the measurement cannot decide.

    Examples
    --------
    >>> _undecided(None, None, 0.05)
    ' The claim lies inside the uncertainty.'
    >>> _undecided(False, None, 0.05)
    ' It misses the claim; whether by more than the tolerance of 5 %, the uncertainty leaves open.'
    """
    if meets is None:
        return " The claim lies inside the uncertainty."
    if within is None:
        allowed = f"{100.0 * tolerance:g} %"
        return f" It misses the claim; whether by more than the tolerance of {allowed}, the uncertainty leaves open."
    return " It misses the claim, but what limited the unit is not known, so it is not held against it."
