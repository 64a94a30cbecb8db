"""What a sample of units allows to be stated, and what a check of one may be out by: the published rules."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, stdev

from scipy.special import stdtrit

from reduction.ground.tables import table


def lower_confidence_limit(sample: Sequence[float], confidence: float) -> float:
    """Return mean − t·s/√n, t one-sided with n − 1 degrees of freedom.

    Raises
    ------
    ValueError
        If the sample has fewer than two units.

    Examples
    --------
    >>> round(lower_confidence_limit([10.6, 10.8, 10.7, 10.9], 0.975), 4)
    10.5446
    """
    if len(sample) < 2:
        raise ValueError(f"a sample of {len(sample)}: a confidence limit needs at least two units")
    t = float(stdtrit(len(sample) - 1, confidence))
    return fmean(sample) - t * stdev(sample) / math.sqrt(len(sample))


def highest_representation(sample: Sequence[float], rule: str) -> float:
    """Return the highest efficiency that may be stated of a basic model from a sample: `room` or `portable`.

    References
    ----------
    10 CFR 429.15 and 429.62: the lower of the sample's mean and its lower confidence limit over a divisor.

    Examples
    --------
    >>> round(highest_representation([10.2, 11.2], "room"), 2)
    4.58
    """
    row = next(row for row in table("sampling_rules") if row["name"] == rule)
    limit = lower_confidence_limit(sample, float(row["confidence"])) / float(row["divisor"])
    return min(fmean(sample), limit)


def verification_limit(quantity: str, declared: float) -> float:
    """Return the worst value of a checked unit that an authority still accepts: `seer`, `eer`, `standby`, `sound`.

    References
    ----------
    Regulation (EU) 206/2012 consolidated 2017, Annex III Table 1; for authorities only, not for declaring values.

    Examples
    --------
    >>> round(verification_limit("seer", 6.1), 3)
    5.612
    """
    row = next(row for row in table("verification_tolerances") if row["quantity"] == quantity)
    sign = -1.0 if row["better"] == "higher" else 1.0
    tolerance = float(row["tolerance"])
    return declared + sign * tolerance if row["absolute"] == "yes" else declared * (1.0 + sign * tolerance)


def efficiency_class(scale: str, value: float) -> str:
    """Return the EU energy class of a SEER (`seer`) or of a ducted unit's EER in W/W (`eer_ducted`).

    References
    ----------
    Regulation (EU) 626/2011, Annex II.

    Examples
    --------
    >>> efficiency_class("seer", 6.09)
    'A+'
    """
    rows = [row for row in table("efficiency_classes") if row["scale"] == scale]
    return next(row["class"] for row in rows if value >= float(row["at_least"]))
