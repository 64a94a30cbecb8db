"""A unit's claims as a session document states them: in one order, and which of them leads where only one can."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from reduction import session as doc
from reduction.ground.constants import eer_from_cop
from reduction.judge.claims import leading_claims
from reduction.judge.verdict import QUANTITY
from units.models import Claim, Unit

SAME_CLAIM = 1e-6


def as_stated(claim: Claim) -> doc.Claim:
    """Return a claim as a session document states it."""
    condition = doc.Condition(
        name=claim.condition_name,
        room_temp_c=claim.room_temp_c,
        room_wet_bulb_c=claim.room_wet_bulb_c,
        outdoor_temp_c=claim.outdoor_temp_c,
        outdoor_wet_bulb_c=claim.outdoor_wet_bulb_c,
    )
    return doc.Claim(
        quantity=claim.quantity,
        value=claim.value,
        quantity_unit=claim.quantity_unit,
        condition=None if condition == doc.Condition() else condition,
        basis=claim.basis,
        stated_in=", ".join(filter(None, [claim.stated_in, claim.stated_on and claim.stated_on.isoformat()])),
    )


def in_order(unit: Unit) -> list[tuple[doc.Claim, Claim]]:
    """Return a unit's claims as stated with their rows, always in the same order whatever the rows' keys are."""
    pairs = [(as_stated(claim), claim) for claim in unit.claims.all()]
    return sorted(pairs, key=lambda pair: pair[0].model_dump_json())


def listed(unit: Unit) -> list[Claim]:
    """Return a unit's claims as a reader is shown them: capacity first, then power and efficiency, then the rest."""
    rank = Claim.Quantity.values.index
    return sorted((row for _, row in in_order(unit)), key=lambda row: rank(row.quantity))


def leading(unit: Unit) -> dict[str, Claim]:
    """Return one claim a quantity, the same that a reduction of the unit takes."""
    pairs = in_order(unit)
    led = leading_claims([stated for stated, _ in pairs], doc.UnitKind(unit.kind))
    return {quantity: next(row for stated, row in pairs if stated is one) for quantity, one in led.items()}


def verdict_on(quantity: str, value_si: float, verdicts: Iterable[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the verdict on this very claim, which is in Btu/(W·h) for a COP; a quantity may be claimed more than once.

    >>> judged = [{"quantity": "capacity", "claimed": 2930.7}, {"quantity": "capacity", "claimed": 2637.6}]
    >>> verdict_on("capacity", 2637.6, judged)["claimed"], verdict_on("eer", 2637.6, judged)
    (2637.6, None)
    """
    stated = eer_from_cop(value_si) if quantity == "cop" else value_si
    of_this = (one for one in verdicts if one["quantity"] == QUANTITY.get(quantity))
    return next((one for one in of_this if math.isclose(one["claimed"], stated, rel_tol=SAME_CLAIM)), None)
