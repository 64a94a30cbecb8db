"""The decision rule of a session: which tolerance counts, and what a measurement decides about a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from reduction.errors import InvalidSession, Place
from reduction.ground.tables import table
from reduction.judge.claims import tolerance_of
from reduction.session import DecisionRule, UnitKind

NO_TOLERANCE = "none"


@dataclass(frozen=True)
class Belief:
    """What is believed of a true value: normal about `low`…`high` with standard deviation u at every place between.

    A plain measurement has `low == high`; a projection is an interval any place of which is as likely as another.
    """

    low: float
    high: float
    u: float

    def probability_above(self, limit: float) -> float:
        """Return the probability that the true value reaches a limit.

        References
        ----------
        JCGM 106:2012, 7.3.2 equation (13) for a normal belief (number from memory); its mean over the interval else.

        Examples
        --------
        >>> round(Belief(509.7, 509.7, 8.6).probability_above(490.0), 2)
        0.99
        """
        places = np.linspace(self.low, self.high, 201 if self.high > self.low else 1)
        if self.u == 0.0:
            return float(np.mean(places >= limit))
        return float(np.mean(ndtr((places - limit) / self.u)))


def decided(belief: Belief, limit: float, rule: DecisionRule) -> bool | None:
    """Say whether a value reaches a limit by the rule: True, False, or None where the rule leaves it open.

    References
    ----------
    JCGM 106:2012, 8.2 simple acceptance; 8.3 guarded acceptance and guarded rejection with a guard band w = r·U;
    clause 7 conformance probability. Clause numbers from memory.

    Examples
    --------
    >>> near = Belief(101.0, 101.0, 2.0)
    >>> [decided(near, 100.0, DecisionRule(rule=name)) for name in ("simple_acceptance", "guard_band", "probability")]
    [True, None, None]
    """
    if rule.rule == "probability":
        reached = belief.probability_above(limit)
        return True if reached >= rule.probability else False if reached <= 1.0 - rule.probability else None
    guard = rule.guard_factor * 2.0 * belief.u if rule.rule == "guard_band" else 0.0
    if belief.low - guard >= limit:
        return True
    return False if belief.high + guard < limit else None


def tolerance_by(rule: DecisionRule, kind: UnitKind, quantity: str) -> tuple[float, str]:
    """Return the tolerance (fraction) that counts by the rule, and the scheme it is taken from.

    Raises
    ------
    InvalidSession
        If the rule names a scheme that `data/claim_tolerances.csv` does not have.

    Examples
    --------
    >>> tolerance_by(DecisionRule(tolerance_from="none"), UnitKind.WINDOW, "capacity")
    (0.0, 'no tolerance')
    """
    wanted = rule.tolerance_from
    if not wanted:
        return tolerance_of(kind, quantity)
    if wanted == NO_TOLERANCE:
        return 0.0, "no tolerance"
    if wanted not in schemes():
        raise InvalidSession(
            place=Place("SESSION.json", column="decision.tolerance_from"),
            found=wanted,
            expected="one of " + ", ".join((*schemes(), NO_TOLERANCE)),
            remedy="Name a known scheme, or leave it empty to take the one of the unit's kind.",
        )
    for row in table("claim_tolerances"):
        if row["scheme"] == wanted and row["quantity"] == quantity and kind.value in row["kinds"].split():
            return float(row["tolerance"]), wanted
    return 0.0, f"no tolerance: {wanted} states none for it"


def schemes() -> tuple[str, ...]:
    """Return the names of the schemes that state a tolerance.

    Examples
    --------
    >>> "EU market surveillance" in schemes()
    True
    """
    return tuple(dict.fromkeys(row["scheme"] for row in table("claim_tolerances")))


def in_words(rule: DecisionRule) -> str:
    """Return the rule as a reader is told it.

    Examples
    --------
    >>> in_words(DecisionRule())
    'a word is given where it is at least 95 % probable; tolerance of the scheme for the kind of unit'
    """
    said = {
        "probability": f"a word is given where it is at least {100.0 * rule.probability:.3g} % probable",
        "guard_band": f"a word is given where the value clears the line by {rule.guard_factor:.3g} × U (guard band)",
        "simple_acceptance": "the measured value alone decides, whatever its U (simple acceptance)",
    }[rule.rule]
    by_kind = "tolerance of the scheme for the kind of unit"
    allowed = {"": by_kind, NO_TOLERANCE: "no tolerance"}.get(
        rule.tolerance_from, f"tolerance of {rule.tolerance_from}"
    )
    return f"{said}; {allowed}"
