"""Rounding a value to its uncertainty, the one rule of every table, page and report."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

_NEGATIVE = re.compile(r"(?<![^\s(±])-(?=\d)")
MINUS = "\N{MINUS SIGN}"
WITHOUT_U_DIGITS = 3
LEADING_ONE = 2  # below this first digit one digit would be a step of half the uncertainty: two are kept


@dataclass(frozen=True)
class Rounded:
    """A value and its U95 as they are shown: rounded to the same decimal place."""

    value: float
    u95: float | None
    decimals: int

    def __str__(self) -> str:
        """Return `7,900 ± 400`, with thousands separated and never more digits than are known."""
        places = max(self.decimals, 0)
        shown = signed(self.value, f",.{places}f")
        return shown if self.u95 is None else f"{shown} ± {self.u95:,.{places}f}"


def rounded(value: float, u95: float | None = None) -> Rounded:
    """Round U95 to one significant digit, two where the first is a 1, and the value to the same place.

    Without an uncertainty (None or zero) the value keeps three significant digits.

    Raises
    ------
    ValueError
        If the value or U95 is not finite, or U95 is negative.

    References
    ----------
    JCGM 100:2008, 7.2.6: at most two significant digits of u, and estimates rounded to agree with it.

    Examples
    --------
    >>> print(rounded(7863.0, 368.0))
    7,900 ± 400
    >>> print(rounded(2.806, 0.1234))
    2.81 ± 0.12
    """
    if not math.isfinite(value) or not math.isfinite(u95 or 0.0) or (u95 or 0.0) < 0.0:
        raise ValueError(f"cannot round {value} ± {u95}: both must be finite and U95 not negative")
    decimals = _decimals(u95, at_most=2) if u95 else _decimals(value, at_most=WITHOUT_U_DIGITS) if value else 0
    return Rounded(_at(value, decimals), _at(u95, decimals) if u95 else None, decimals)


def _at(value: float, decimals: int) -> float:
    return round(value, decimals) + 0.0  # + 0.0: never a minus zero


def _decimals(value: float, *, at_most: int) -> int:
    two_digits = f"{abs(value):.{at_most - 1}e}"  # rounds first, so 0.0996 counts as 0.10
    mantissa, exponent = two_digits.split("e")
    digits = 1 if at_most == 2 and int(mantissa[0]) >= LEADING_ONE else at_most
    return digits - 1 - int(exponent)


def signed(value: float, form: str) -> str:
    """Return a number in a format, with a true minus sign.

    Examples
    --------
    >>> signed(-3.25, ".1f"), signed(4.0, "+.0f")
    ('−3.2', '+4')
    """
    return f"{value:{form}}".replace("-", MINUS)


def true_minus(sentence: str) -> str:
    """Return a sentence with the hyphen before a negative number made a minus sign; dates and names keep theirs.

    Examples
    --------
    >>> true_minus("-0.4 K/h (-12 W) on 2026-07-18 by plug-2")
    '−0.4 K/h (−12 W) on 2026-07-18 by plug-2'
    """
    return _NEGATIVE.sub(MINUS, sentence) if "-" in sentence else sentence


def with_unit(value: float, u95: float | None, quantity_unit: str) -> str:
    """Return `7,900 ± 400 Btu/h`.

    Examples
    --------
    >>> with_unit(1683.8, 38.2, "W")
    '1,680 ± 40 W'
    """
    return f"{rounded(value, u95)} {quantity_unit}".rstrip()
