"""The relaxing part of a temperature, against closed forms and a general solver of linear systems."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import TransferFunction, lsim

from reduction.room.relaxation import TAU_GRID_S, at_time_constant, fill_gaps, relaxing_part, span_means

STEP_S = 10.0
TIME_S = np.arange(0.0, 6 * 3600.0, STEP_S)


def test_a_ramp_ends_one_time_constant_behind() -> None:
    # closed form: y = r·τ·(1 − exp(−t/τ)) for T = r·t
    rate, tau = 0.5 / 3600.0, 1800.0
    found = relaxing_part(rate * TIME_S, STEP_S, np.array([tau]))[0]
    assert found == pytest.approx(rate * tau * (1 - np.exp(-TIME_S / tau)), abs=1e-9)


def test_any_course_agrees_with_a_general_solver() -> None:
    # scipy's lsim of s·τ/(1 + s·τ), which interpolates its input in straight lines as we do
    course = np.sin(TIME_S / 2500.0) + 0.3 * np.sin(TIME_S / 400.0)
    tau = 5000.0
    _, expected, _ = lsim(TransferFunction([tau, 0.0], [tau, 1.0]), course, TIME_S)
    assert relaxing_part(course, STEP_S, np.array([tau]))[0] == pytest.approx(expected, abs=1e-3)


def test_a_temperature_that_never_changes_leaves_nothing() -> None:
    assert relaxing_part(np.full(50, 22.0), STEP_S, TAU_GRID_S) == pytest.approx(np.zeros((40, 50)))


def test_a_table_is_read_between_its_time_constants_as_it_would_be_computed() -> None:
    table = relaxing_part(np.where(TIME_S > 3600.0, 1.0, 0.0), STEP_S, TAU_GRID_S)[:, [-1]]
    tau = np.array([2000.0, 7000.0])
    exact = relaxing_part(np.where(TIME_S > 3600.0, 1.0, 0.0), STEP_S, tau)[:, [-1]]
    assert at_time_constant(table, tau) == pytest.approx(exact, abs=3e-3)


def test_gaps_at_the_ends_hold_the_nearest_value() -> None:
    assert fill_gaps(np.array([np.nan, 20.0, np.nan, np.nan, 23.0, np.nan])).tolist() == [20, 20, 21, 22, 23, 23]


def test_means_over_spans_are_those_of_their_cells() -> None:
    cells = np.arange(12.0).reshape(2, 6)
    assert span_means(cells, np.array([[1, 4], [0, 6]])).tolist() == [[2.0, 2.5], [8.0, 8.5]]
