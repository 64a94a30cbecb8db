"""Rounding to the uncertainty."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.ground.rounding import rounded, with_unit


@pytest.mark.parametrize(
    ("value", "u95", "shown"),
    [
        (7863.0, 368.0, "7,900 ± 400"),
        (7863.0, 108.0, "7,860 ± 110"),
        (11.23, 0.56, "11.2 ± 0.6"),
        (2.806, 0.1234, "2.81 ± 0.12"),
        (99.4, 0.96, "99.4 ± 1.0"),
        (9.96, 0.0996, "9.96 ± 0.10"),
        (-0.3, 4.0, "0 ± 4"),
        (12345.6, None, "12,300"),
        (0.0, None, "0"),
    ],
)
def test_a_value_never_shows_more_digits_than_its_uncertainty_allows(
    value: float, u95: float | None, shown: str
) -> None:
    # First row: acceptance figure of the trade; the rule is JCGM 100:2008, 7.2.6, at most two digits of u.
    assert str(rounded(value, u95)) == shown


def test_watts_and_btu_are_rounded_each_in_their_own_unit() -> None:
    watts, u95 = 7863.0 / BTU_PER_H_PER_W, 368.0 / BTU_PER_H_PER_W
    assert with_unit(watts, u95, "W") == "2,300 ± 110 W"
    assert with_unit(watts * BTU_PER_H_PER_W, u95 * BTU_PER_H_PER_W, "Btu/h") == "7,900 ± 400 Btu/h"


@given(st.floats(-1e6, 1e6), st.floats(1e-4, 1e5))
def test_rounding_moves_a_value_by_no_more_than_a_third_of_its_uncertainty(value: float, u95: float) -> None:
    shown = rounded(value, u95)
    assert abs(shown.value - value) <= 0.34 * u95
    assert shown.u95 == pytest.approx(u95, rel=0.25)


@pytest.mark.parametrize(("value", "u95"), [(math.nan, 1.0), (1.0, -1.0), (1.0, math.inf)])
def test_what_is_no_number_is_not_rounded(value: float, u95: float) -> None:
    with pytest.raises(ValueError, match="cannot round"):
        rounded(value, u95)
