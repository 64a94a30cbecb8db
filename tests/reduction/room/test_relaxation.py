"""The relaxing part of a temperature, against closed forms and a general solver of linear systems."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import TransferFunction, lsim

from reduction.room.relaxation import decay_means, fill_gaps, relaxing_means, relaxing_part, span_means

STEP_S = 10.0
TIME_S = np.arange(0.0, 6 * 3600.0, STEP_S)
TAUS_S = np.array([120.0, 5000.0, 60.0 * 3600.0])


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
    assert relaxing_part(np.full(50, 22.0), STEP_S, TAUS_S) == pytest.approx(np.zeros((3, 50)))


def test_means_from_the_edges_are_those_of_every_cell() -> None:
    course = 22.0 + np.sin(TIME_S / 2500.0) + 0.3 * np.sin(TIME_S / 400.0)
    spans = np.array([[0, 1], [0, 900], [7, 8], [300, TIME_S.size]])
    every = relaxing_part(course, STEP_S, TAUS_S)
    expected = np.array([[row[first:last].mean() for first, last in spans] for row in every])
    assert relaxing_means(course, STEP_S, TAUS_S, spans) == pytest.approx(expected, abs=1e-9)


def test_what_is_left_of_a_start_is_the_mean_of_its_decay() -> None:
    spans = np.array([[0, 1], [0, 900], [300, TIME_S.size]])
    decays = np.exp(-TIME_S / TAUS_S[:, None])
    assert decay_means(STEP_S, TAUS_S, spans) == pytest.approx(span_means(decays, spans), abs=1e-12)


def test_gaps_at_the_ends_hold_the_nearest_value() -> None:
    assert fill_gaps(np.array([np.nan, 20.0, np.nan, np.nan, 23.0, np.nan])).tolist() == [20, 20, 21, 22, 23, 23]


def test_means_over_spans_are_those_of_their_cells() -> None:
    cells = np.arange(12.0).reshape(2, 6)
    assert span_means(cells, np.array([[1, 4], [0, 6]])).tolist() == [[2.0, 2.5], [8.0, 8.5]]
