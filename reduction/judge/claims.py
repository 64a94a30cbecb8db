"""What the maker states, brought to SI: capacity, power, efficiency and air flow with the condition they hold at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reduction.errors import InvalidSession, Place
from reduction.ground.constants import BTU_PER_H_PER_W, CFM_M3_PER_S, SECONDS_PER_HOUR, TON_W, eer_from_cop
from reduction.ground.tables import table
from reduction.session import Claim, Condition, UnitKind, UnitUnderTest

# One spelling per quantity: lower case, without spaces, dots and brackets.
_POWER = {"w": 1.0, "kw": 1000.0, "btu/h": 1.0 / BTU_PER_H_PER_W, "kbtu/h": 1000.0 / BTU_PER_H_PER_W, "ton": TON_W}
_EFFICIENCY = {"btu/wh": 1.0, "w/w": eer_from_cop(1.0), "": 1.0}
_FLOW = {"m3/h": 1.0, "m3/s": SECONDS_PER_HOUR, "l/s": 3.6, "cfm": CFM_M3_PER_S * SECONDS_PER_HOUR}
_ALIASES = {"btu/hr": "btu/h", "btuh": "btu/h", "btu": "btu/h", "btu/w/h": "btu/wh", "m³/h": "m3/h", "m³/s": "m3/s"}
FACTORS: dict[str, dict[str, float]] = {
    "capacity": _POWER,
    "sacc": _POWER,
    "power": _POWER,
    "eer": _EFFICIENCY,
    "ceer": _EFFICIENCY,
    "seer": _EFFICIENCY,
    "cop": {"w/w": 1.0, "": 1.0},
    "air_flow": _FLOW,
    "sound": {"dba": 1.0, "db": 1.0},
    "current": {"a": 1.0},
    "moisture_removal": {"l/h": 1.0, "kg/h": 1.0, "pint/h": 0.473176473, "l/d": 1.0 / 24.0, "l/day": 1.0 / 24.0},
}

_AT_ONE_CONDITION = ("capacity", "eer", "power", "cop")  # in this order one of them says where the others hold
_SAME_CONDITION_K = 0.5  # half of what a rounded °F makes of a °C; common practice, no source


@dataclass(frozen=True)
class Claimed:
    """A model's stated capacity and power with their common condition; None where nothing is stated."""

    capacity_w: float | None
    power_w: float | None
    eer_btu_per_wh: float | None
    air_flow_m3_per_h: float | None
    condition: Condition
    condition_assumed: bool
    basis: str


def claim_in_si(claim: Claim) -> float:
    """Return a claim's value in W, Btu/(W·h) (EER, CEER, SEER), W/W (COP), m³/h, dB(A), A or kg/h.

    Raises
    ------
    InvalidSession
        If the unit of measure does not belong to the quantity.

    Examples
    --------
    >>> round(claim_in_si(Claim(quantity="capacity", value=12000, quantity_unit="Btu/h")), 3)
    3516.853
    """
    spelled = claim.quantity_unit.lower().translate(str.maketrans("", "", " ·.()*"))
    known = FACTORS[claim.quantity]
    factor = known.get(_ALIASES.get(spelled, spelled))
    if factor is None:
        raise InvalidSession(
            place=Place("SESSION.json", column=f"claim of {claim.quantity}"),
            found=claim.quantity_unit,
            expected="one of " + ", ".join(filter(None, known)),
            remedy="Correct the unit of measure of the claim.",
        )
    return claim.value * factor


def default_condition(kind: UnitKind) -> Condition:
    """Return the condition a kind of unit is rated at where the claim names none.

    Examples
    --------
    >>> default_condition(UnitKind.WINDOW).outdoor_temp_c
    35.0
    """
    return next(_condition(row) for row in table("rating_conditions") if kind.value in row["kinds"].split())


def claim_condition(claim: Claim | None, kind: UnitKind) -> Condition:
    """Return the condition a claim holds at, filled up from the usual one of its kind where it says less."""
    default = default_condition(kind)
    stated = claim.condition if claim else None
    given = {name: value for name, value in stated.model_dump().items() if value is not None} if stated else {}
    if "outdoor_temp_c" not in given and "room_temp_c" not in given:
        return default
    return Condition(**{**default.model_dump(), **given})


def named_condition(name: str) -> Condition:
    """Return a row of `data/rating_conditions.csv` by its name.

    Raises
    ------
    InvalidSession
        If there is no such row.
    """
    rows = {row["name"]: row for row in table("rating_conditions")}
    if name not in rows:
        raise InvalidSession(
            place=Place("SESSION.json", column="settings.rating_conditions"),
            found=name,
            expected="one of " + ", ".join(rows),
            remedy="Name a known rating condition.",
        )
    return _condition(rows[name])


def leading_claims(claims: Sequence[Claim], kind: UnitKind) -> dict[str, Claim]:
    """Return one claim a quantity, all of them at one condition as far as it matters to them.

    Of several capacities the one nearest to the usual condition of the kind leads, the first of equals. A power or an
    efficiency that is stated only at another condition says nothing beside it and is left out.

    Examples
    --------
    >>> mild = Condition(room_temp_c=26.7, outdoor_temp_c=27.8)
    >>> claims = (Claim(quantity="capacity", value=10000, quantity_unit="Btu/h", condition=mild),
    ...           Claim(quantity="capacity", value=9000, quantity_unit="Btu/h"),
    ...           Claim(quantity="eer", value=14, quantity_unit="Btu/(W·h)", condition=mild))
    >>> {quantity: claim.value for quantity, claim in leading_claims(claims, UnitKind.WINDOW).items()}
    {'capacity': 9000.0}
    """

    def apart_k(claim: Claim, at: Condition) -> float:
        here = claim_condition(claim, kind)
        pairs = ((here.outdoor_temp_c, at.outdoor_temp_c), (here.room_temp_c, at.room_temp_c))
        return max(abs(one - other) for one, other in pairs if one is not None and other is not None)

    rank, usual = _AT_ONE_CONDITION.index, default_condition(kind)
    holders = [claim for claim in claims if claim.quantity in _AT_ONE_CONDITION]
    holder = min(holders, key=lambda claim: (rank(claim.quantity), apart_k(claim, usual)), default=None)
    at = claim_condition(holder, kind)
    nearest_first = sorted(claims, key=lambda claim: apart_k(claim, at))
    return {
        claim.quantity: claim
        for claim in reversed(nearest_first)
        if claim.quantity not in _AT_ONE_CONDITION or apart_k(claim, at) < _SAME_CONDITION_K
    }


def claimed_figures(unit: UnitUnderTest) -> Claimed:
    """Return what is stated of a model at one condition: power from capacity and efficiency where it is not stated.

    Examples
    --------
    >>> unit = UnitUnderTest(model="Norvane W9", kind=UnitKind.WINDOW, claims=(
    ...     Claim(quantity="capacity", value=9000, quantity_unit="Btu/h"),
    ...     Claim(quantity="eer", value=9.8, quantity_unit="Btu/(W·h)")))
    >>> round(claimed_figures(unit).power_w)
    918
    """
    stated = leading_claims(unit.claims, unit.kind)
    values = {quantity: claim_in_si(claim) for quantity, claim in stated.items()}
    capacity, power, eer = values.get("capacity"), values.get("power"), values.get("eer")
    if eer is None and "cop" in values:
        eer = eer_from_cop(values["cop"])
    if power is None and capacity and eer:
        power = capacity * BTU_PER_H_PER_W / eer
    elif eer is None and capacity and power:
        eer = capacity * BTU_PER_H_PER_W / power
    holder = stated.get("capacity") or stated.get("eer") or stated.get("power")
    condition = holder.condition if holder else None
    return Claimed(
        capacity_w=capacity,
        power_w=power,
        eer_btu_per_wh=eer,
        air_flow_m3_per_h=values.get("air_flow", unit.claimed_air_flow_m3_per_h),
        condition=claim_condition(holder, unit.kind),
        condition_assumed=condition is None or condition.outdoor_temp_c is None,
        basis=holder.basis if holder else "",
    )


def _condition(row: dict[str, str]) -> Condition:
    figures = {field: float(row[field]) for field in row if field.endswith("_c")}
    return Condition(name=row["title"], **figures)


def tolerance_of(kind: UnitKind, quantity: str) -> tuple[float, str]:
    """Return the tolerance (fraction) and the scheme it is taken from, for a kind of unit.

    Examples
    --------
    >>> tolerance_of(UnitKind.WINDOW, "capacity")
    (0.05, 'US room unit certification')
    """
    rows = (row for row in table("claim_tolerances") if row["quantity"] == quantity)
    row = next(row for row in rows if kind.value in row["kinds"].split())
    return float(row["tolerance"]), row["scheme"]
