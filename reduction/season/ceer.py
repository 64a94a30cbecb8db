"""US seasonal figures of room units: CEER with standby and variable speed, portable SACC and CEER.

The procedures are written in Btu/h, °F, lb and ft³/min and their constants are recognisable only so; this module
keeps those units, in every name, and is called at the edge with `constants`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reduction.ground.tables import table

COOLING_H = 750.0  # h of cooling a year: 10 CFR 430 Subpart B Appendix F (86 FR 16446), 5.2.1, AEC_cool = 0.75 P_cool
INACTIVE_H = 5115.0  # h of inactive or off mode a year, Appendix F, seen second-hand
SINGLE_SPEED_CAPACITY_PER_F = 0.0099  # of the 95 °F capacity gained per °F below, Appendix F, from memory
SINGLE_SPEED_POWER_PER_F = 0.0076  # of the 95 °F power saved per °F below, Appendix F, from memory
RATED_OUTDOOR_F = 95.0

PORTABLE_OFF_CYCLE_H = 880.0  # Appendix CC, from memory
PORTABLE_INACTIVE_H = 1355.0  # Appendix CC, from memory
PORTABLE_WEIGHTS = {95: 0.2, 83: 0.8}  # Appendix CC, from memory
PORTABLE_RATIO = {95: 0.0141, 83: 0.01086}  # lb/lb of outdoor air at 95/75 and 83/67.5 °F, Appendix CC, from memory
INDOOR_F, INDOOR_RATIO = 80.0, 0.0112  # Appendix CC, from memory
DUCT_BTU_PER_H_FT2_F = 3.0  # Appendix CC, from memory


@dataclass(frozen=True)
class VariableSpeed:
    """A variable-speed CEER with its parts: by test, then weighted; `adjustment` is the gain over single speed."""

    ceer_by_test: tuple[float, ...]
    single_speed_by_test: tuple[float, ...]
    weighted: float
    single_speed_weighted: float
    adjustment: float
    ceer: float


@dataclass(frozen=True)
class Infiltration:
    """Heat a portable's exhaust draws in: dry air [lb/min], sensible and latent [Btu/h]."""

    dry_air_lb_per_min: float
    sensible_btu_per_h: float
    latent_btu_per_h: float

    @property
    def total_btu_per_h(self) -> float:
        """Sensible and latent together."""
        return self.sensible_btu_per_h + self.latent_btu_per_h


def ceer(capacity_btu_per_h: float, power_w: float, standby_w: float = 0.0) -> float:
    """Return the combined energy efficiency ratio [Btu/(W·h)] of one test: cooling and standby over 750 h.

    References
    ----------
    10 CFR 430 Subpart B Appendix F as of 86 FR 16446 (2021), 5.2.2; hours of inactive mode seen second-hand.

    Examples
    --------
    >>> round(ceer(8000, 720, 1.0), 4)
    11.0069
    """
    cooling_kwh = power_w * COOLING_H / 1000.0
    standby_kwh = standby_w * INACTIVE_H / 1000.0
    return capacity_btu_per_h / ((cooling_kwh + standby_kwh) / (COOLING_H / 1000.0))


def single_speed(capacity_btu_per_h: float, power_w: float, outdoor_f: float) -> tuple[float, float]:
    """Return capacity [Btu/h] and power [W] that the procedure gives a comparable single-speed unit.

    A convention, not a model of any unit: measured maps rise by half of it towards 82 °F.

    Examples
    --------
    >>> tuple(round(x, 2) for x in single_speed(12000, 1050, 82))
    (13544.4, 946.26)
    """
    colder = RATED_OUTDOOR_F - outdoor_f
    return (
        capacity_btu_per_h * (1.0 + SINGLE_SPEED_CAPACITY_PER_F * colder),
        power_w * (1.0 - SINGLE_SPEED_POWER_PER_F * colder),
    )


def variable_speed_ceer(tests: Sequence[tuple[float, float]], standby_w: float) -> VariableSpeed:
    """Return the CEER of a variable-speed unit from its four tests, (Btu/h, W) in the order of `data/ceer_tests.csv`.

    Raises
    ------
    ValueError
        If there are not four tests.

    References
    ----------
    10 CFR 430 Subpart B Appendix F as amended by 86 FR 16446 (2021), weights of 5.3.1; cycling loss factors and the
    single-speed slopes from memory. The proposal of 2020 weighed by hours; the rule weighs by heat delivered.

    Examples
    --------
    >>> round(variable_speed_ceer([(12000, 1050), (12400, 1000), (9000, 600), (6200, 340)], 1.0).ceer, 4)
    14.3545
    """
    rows = table("ceer_tests")
    if len(tests) != len(rows):
        raise ValueError(
            f"{len(tests)} tests: expected {len(rows)}, at " + ", ".join(r["outdoor_f"] for r in rows) + " °F"
        )
    measured = tuple(ceer(capacity, power, standby_w) for capacity, power in tests)
    theoretical = tuple(
        ceer(*single_speed(*tests[0], float(row["outdoor_f"])), standby_w) * float(row["cycling_loss_factor"])
        for row in rows
    )
    weights = [float(row["weight"]) for row in rows]
    weighted, single = (sum(w * c for w, c in zip(weights, each, strict=True)) for each in (measured, theoretical))
    adjustment = (weighted - single) / single
    return VariableSpeed(measured, theoretical, weighted, single, adjustment, measured[0] * (1.0 + adjustment))


def duct_heat_btu_per_h(area_ft2: float, duct_f: float, entering_f: float = INDOOR_F) -> float:
    """Return the heat a portable's duct gives to the room [Btu/h].

    Examples
    --------
    >>> round(duct_heat_btu_per_h(6.1785, 110.0), 1)
    556.1
    """
    return DUCT_BTU_PER_H_FT2_F * area_ft2 * (duct_f - entering_f)


def portable_infiltration(
    exhaust_cfm: float, exhaust_lb_per_ft3: float, exhaust_ratio: float, outdoor_f: int, intake_lb_per_min: float = 0.0
) -> Infiltration:
    """Return what a portable's exhaust draws into the room at 95 or 83 °F; a dual duct takes its intake off.

    References
    ----------
    10 CFR 430 Subpart B Appendix CC (2016), from memory.

    Examples
    --------
    >>> round(portable_infiltration(250, 0.0700, 0.0110, 95).total_btu_per_h, 1)
    7139.0
    """
    dry = exhaust_cfm * exhaust_lb_per_ft3 / (1.0 + exhaust_ratio) - intake_lb_per_min
    ratio = PORTABLE_RATIO[outdoor_f]
    vapour = 0.444 * (ratio * outdoor_f - INDOOR_RATIO * INDOOR_F)
    sensible = dry * 60.0 * (0.24 * (outdoor_f - INDOOR_F) + vapour)
    latent = dry * 60.0 * 1061.0 * (ratio - INDOOR_RATIO)
    return Infiltration(dry, sensible, latent)


def sacc_btu_per_h(adjusted_95: float, adjusted_83: float) -> float:
    """Return the seasonally adjusted capacity [Btu/h] from capacities less duct heat and infiltration at 95 and 83 °F.

    Examples
    --------
    >>> sacc_btu_per_h(4000.0, 7000.0)
    6400.0
    """
    return PORTABLE_WEIGHTS[95] * adjusted_95 + PORTABLE_WEIGHTS[83] * adjusted_83


def portable_ceer(
    adjusted_btu_per_h: dict[int, float], power_w: dict[int, float], off_cycle_w: float, inactive_w: float
) -> float:
    """Return a portable's CEER [Btu/(W·h)] from adjusted capacities and powers at 95 and 83 °F.

    Examples
    --------
    >>> round(portable_ceer({95: 4000.0, 83: 7000.0}, {95: 1100.0, 83: 1000.0}, 0.0, 0.0), 3)
    6.327
    """
    idle_kwh = (off_cycle_w * PORTABLE_OFF_CYCLE_H + inactive_w * PORTABLE_INACTIVE_H) / 1000.0
    hours = COOLING_H / 1000.0
    return sum(
        weight * adjusted_btu_per_h[outdoor] / ((power_w[outdoor] * hours + idle_kwh) / hours)
        for outdoor, weight in PORTABLE_WEIGHTS.items()
    )


def portable_minimum_ceer(sacc: float) -> float:
    """Return the least CEER allowed for a portable of a SACC [Btu/h].

    References
    ----------
    10 CFR 430.32(cc), units made from 10 January 2025, from memory.

    Examples
    --------
    >>> round(portable_minimum_ceer(8000), 3)
    7.225
    """
    return float(1.04 * sacc / (3.7117 * sacc**0.6384))


def room_minimum_ceer(capacity_btu_per_h: float, construction: str, made_on: str) -> tuple[str, float] | None:
    """Return product class and least CEER of a room unit made on an ISO date; None before the first rule.

    Examples
    --------
    >>> room_minimum_ceer(8000, "no reverse cycle, louvered", "2020-07-01")
    ('3', 10.9)
    """
    found = None
    for row in table("minimum_ceer"):
        top = float(row["below_btu_per_h"] or "inf")
        fits = float(row["from_btu_per_h"]) <= capacity_btu_per_h < top and row["construction"] == construction
        if fits and row["made_from"] <= made_on:
            found = max(found or ("", "", 0.0), (row["made_from"], row["class"], float(row["minimum_ceer"])))
    return (found[1], found[2]) if found else None
