"""A window with what switches in it."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.timeline import Timeline
from reduction.windows.span import span_of
from tests.reduction.bench_room import TIME_S, a_timeline
from tests.reduction.signals import NOON_S, heater


def cycling(period_s: float = 600.0) -> Timeline:
    return a_timeline({"heater": heater(TIME_S, period_s=period_s)})


def test_a_steady_room_has_no_cycle_and_nothing_to_cut() -> None:
    span = span_of(a_timeline(), "w", NOON_S, NOON_S + 7200.0)
    assert (span.switching, span.cycle_s, span.cut_w) == (None, 0.0, 0.0)


def test_the_heater_s_cycle_is_found_around_the_window() -> None:
    span = span_of(cycling(), "w", NOON_S + 600.0, NOON_S + 3600.0)
    assert span.heater is not None
    assert span.cycle_s == pytest.approx(600.0, rel=0.02)
    assert span.cut_w == pytest.approx(0.0, abs=5.0)


def test_a_window_that_cuts_a_cycle_knows_how_much_that_may_shift_its_mean() -> None:
    """A heater of 1500 W, half on, ten minutes a cycle, 35 min: at most 107 W, by the geometry of the cut."""
    assert span_of(cycling(), "w", NOON_S, NOON_S + 2100.0).cut_w == pytest.approx(107.0, abs=5.0)


def test_the_unit_s_own_cycle_is_what_makes_the_room_ripple() -> None:
    unit = np.where((TIME_S - NOON_S) % 900.0 < 500.0, 800.0, 40.0)
    timeline = a_timeline({"heater": heater(TIME_S), "unit": unit})
    span = span_of(timeline, "w", NOON_S, NOON_S + 7200.0)
    assert span.unit is not None
    assert span.switching is span.unit
    assert span.cycle_s == pytest.approx(900.0, rel=0.05)
