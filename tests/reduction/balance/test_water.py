"""Rates of water from scales and weighings."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from reduction.align.timeline import Series
from reduction.balance.water import scale_rate, weighed_rate
from reduction.session import Instrument, Role, Weighing
from tests.reduction.signals import NOON_S, a_series

SCALE = Instrument(id="scale", quantity="mass", gain_limit=0.002, resolution=0.001)
TIME_S = NOON_S + np.arange(0.0, 7201.0, 300.0)
PER_H = 3600.0


def scale(mass_kg: np.ndarray) -> Series:
    return a_series(TIME_S, mass_kg, Role.CONDENSATE_MASS, instrument=SCALE)


def weighed(mass_kg: float, start_h: float, end_h: float, what: str = "condensate") -> Weighing:
    at = [datetime.fromtimestamp(NOON_S + h * PER_H, UTC) for h in (start_h, end_h)]
    return Weighing(what=what, mass_kg=mass_kg, u95_kg=0.01, start_utc=at[0], end_utc=at[1])  # type: ignore[arg-type]


def test_a_filling_bucket_and_an_emptying_tank_both_give_a_positive_rate() -> None:
    grown = (TIME_S - NOON_S) / PER_H
    for mass in (0.4 + 1.1 * grown, 6.0 - 1.1 * grown):
        rate = scale_rate(scale(mass), NOON_S, NOON_S + 7200.0)
        assert rate is not None
        assert rate.kg_per_s * PER_H == pytest.approx(1.1, abs=0.002)
        assert rate.gain_u == pytest.approx(0.002 / 3**0.5)


def test_a_tank_refilled_in_between_keeps_its_rate() -> None:
    mass = 6.0 - (TIME_S - NOON_S) / PER_H
    mass[12:] += 4.0
    rate = scale_rate(scale(mass), NOON_S, NOON_S + 7200.0)
    assert rate is not None
    assert rate.kg_per_s * PER_H == pytest.approx(1.0, abs=0.005)
    assert "1 refills" in rate.how


def test_a_tank_that_runs_dry_is_taken_from_its_ends_and_doubted() -> None:
    time_s = NOON_S + np.arange(0.0, 7201.0, 60.0)
    mass = np.clip(0.7 - (time_s - NOON_S) / PER_H, 0.0, None)
    series = a_series(time_s, mass, Role.WATER_SUPPLY_MASS, instrument=SCALE)
    rate = scale_rate(series, NOON_S, NOON_S + 7200.0)
    assert rate is not None
    assert rate.kg_per_s * PER_H == pytest.approx(0.35)
    assert rate.u_kg_per_s >= 0.1 * rate.kg_per_s
    assert "not steady" in rate.how


def test_too_few_readings_give_no_rate() -> None:
    assert scale_rate(scale(np.ones(len(TIME_S))), NOON_S, NOON_S + 600.0) is None


def test_weighings_over_the_window_count_and_others_do_not() -> None:
    inside, before = weighed(1.0, 0.0, 1.0), weighed(9.0, -3.0, -2.0)
    rate = weighed_rate([inside, before, weighed(5.0, 0.0, 1.0, "water_supply")], "condensate", NOON_S, NOON_S + PER_H)
    assert rate is not None
    assert rate.kg_per_s * PER_H == pytest.approx(1.0)


def test_a_weighing_that_covers_only_part_of_the_window_is_less_sure() -> None:
    whole = weighed_rate([weighed(1.0, 0.0, 1.0)], "condensate", NOON_S, NOON_S + PER_H)
    part = weighed_rate([weighed(0.6, 0.0, 0.6)], "condensate", NOON_S, NOON_S + PER_H)
    assert whole is not None
    assert part is not None
    assert part.kg_per_s == pytest.approx(whole.kg_per_s)
    assert part.u_kg_per_s > 5 * whole.u_kg_per_s
