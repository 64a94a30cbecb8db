"""The uncertainty engine against worked examples of the guides."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from reduction.uncertainty.montecarlo import monte_carlo
from reduction.uncertainty.propagation import Input, coverage_factor, propagate
from reduction.uncertainty.repeatability import effective_size_ar1
from tests.published.rows import Row, published

END_GAUGE = (
    Input("l_s", 50_000_623.0, 25.0, "nm", dof=18),
    Input("d", 215.0, 9.7, "nm", dof=25.6),
    Input("alpha_s", 11.5e-6, 1.2e-6, "1/K"),
    Input("theta", -0.1, 0.41, "K"),
    Input("d_alpha", 0.0, 0.58e-6, "1/K", dof=50),
    Input("d_theta", 0.0, 0.029, "K", dof=2),
)
VOLTAGE_V = [5.007, 4.994, 5.005, 4.990, 4.999]
CURRENT_A = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHASE_RAD = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
THERMOMETER_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTION_C = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


@cache
def end_gauge() -> dict[str, float]:
    def length(x: np.ndarray) -> np.ndarray:
        l_s, d, alpha, theta, d_alpha, d_theta = x
        return (l_s + d - l_s * (d_alpha * theta + alpha * d_theta))[None, :]

    found = propagate(END_GAUGE, length)
    return {
        "value": found.values[0],
        "u": found.u(),
        "dof": found.dof(),
        "k99": found.k(probability=0.99),
        "expanded99": found.expanded(probability=0.99),
    }


@cache
def impedance() -> dict[str, float]:
    readings = np.array([VOLTAGE_V, CURRENT_A, PHASE_RAD])
    u = readings.std(axis=1, ddof=1) / np.sqrt(5)
    inputs = [Input("", mean, each, dof=4, evaluation="A") for mean, each in zip(readings.mean(axis=1), u, strict=True)]

    def model(x: np.ndarray) -> np.ndarray:
        voltage, current, phase = x
        z = voltage / current
        return np.stack([z * np.cos(phase), z * np.sin(phase), z])

    found = propagate(inputs, model, np.corrcoef(readings))
    r = found.covariance / np.outer(np.sqrt(np.diag(found.covariance)), np.sqrt(np.diag(found.covariance)))
    names = ("R", "X", "Z")
    values = {name: found.values[i] for i, name in enumerate(names)}
    values |= {f"u_{name}": found.u(i) for i, name in enumerate(names)}
    return values | {"r_RX": r[0, 1], "r_RZ": r[0, 2], "r_XZ": r[1, 2]}


@cache
def calibration_line() -> dict[str, float]:
    """The straight line as a model of its eleven readings, each with the residuals' standard deviation."""
    t = np.array(THERMOMETER_C) - 20.0
    weights = np.linalg.pinv(np.column_stack([np.ones_like(t), t]))

    def fit(x: np.ndarray) -> np.ndarray:
        line = weights @ x
        return np.vstack([line, line[:1] + 10.0 * line[1:2]])

    b = np.array(CORRECTION_C)
    residual = b - np.column_stack([np.ones_like(t), t]) @ (weights @ b)
    s = float(np.sqrt(residual @ residual / (len(b) - 2)))
    found = propagate([Input("", each, s, evaluation="A") for each in b], fit)
    r = found.covariance[0, 1] / (found.u(0) * found.u(1))
    return {
        "intercept": found.values[0], "slope": found.values[1], "at_30": found.values[2],
        "u_intercept": found.u(0), "u_slope": found.u(1), "u_at_30": found.u(2), "r": r,
    }  # fmt: skip


def sum_of(x: np.ndarray) -> np.ndarray:
    return x.sum(axis=0)[None, :]


@cache
def rectangular(widest: float) -> dict[str, float]:
    inputs = [Input("", 0.0, u, shape="rectangular") for u in (1.0, 1.0, 1.0, widest)]
    (trial,) = monte_carlo(inputs, sum_of, draws=1_000_000, probability=0.95)
    assert -trial.low == pytest.approx(trial.high, abs=0.05)
    return {"u": trial.u, "high": trial.high, "expanded": propagate(inputs, sum_of).interval(probability=0.95)[1]}


@cache
def cadmium() -> dict[str, float]:
    volume_u = float(np.sqrt(0.1**2 / 6 + 0.02**2 + 0.084**2 / 3))  # triangular, repeatability, rectangular
    inputs = [
        Input("m", 100.28, 0.05, "mg"),
        Input("P", 0.9999, 0.0001 / np.sqrt(3), shape="rectangular"),
        Input("V", 100.0, volume_u, "mL"),
    ]
    found = propagate(inputs, lambda x: (1000.0 * x[0] * x[1] / x[2])[None, :])
    return {"value": found.values[0], "u": found.u()}


@cache
def student() -> dict[str, float]:
    return {text: coverage_factor(16.0, float(text)) for text in ("0.95", "0.9545", "0.99")}


EXAMPLES = {
    "H1": end_gauge,
    "H2": impedance,
    "H3": calibration_line,
    "t": student,
    "four equal": lambda: rectangular(1.0),
    "one wide": lambda: rectangular(10.0),
    "CITAC A1": cadmium,
}


@pytest.mark.parametrize("row", published("uncertainty"), ids=lambda row: row.source)
def test_the_engine_reproduces_the_guides(row: Row) -> None:
    assert row.agrees(EXAMPLES[row.example]()[row.quantity])


@pytest.mark.parametrize("row", published("effective_size"), ids=lambda row: row.source)
def test_effective_number_of_autocorrelated_samples_is_exact(row: Row) -> None:
    assert row.agrees(effective_size_ar1(int(row.n), row.r))
