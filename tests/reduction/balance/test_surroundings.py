"""Heat through surfaces whose conductances one run told together."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.room.envelope import told_apart, total_ua
from reduction.session import Role, Room, Surface
from reduction.uncertainty.propagation import propagate, shared_covariance
from tests.reduction.bench_room import a_balance, a_channel, a_timeline

R = -0.8
U = np.array([5.0, 6.0])  # W/K, standard
DELTA_K = np.array([12.0, 6.0])


def _room(*correlation: float) -> Room:
    surfaces = (
        Surface(to="outdoor", ua_w_per_k=16.0, u95_w_per_k=2.0 * U[0]),
        Surface(to="hall", ua_w_per_k=14.0, u95_w_per_k=2.0 * U[1], correlation=correlation),
    )
    return Room(name="den", volume_m3=30.0, surfaces=surfaces, c_eff_j_per_k=4e5, c_eff_u95_j_per_k=1e5)


def _envelope(room: Room) -> tuple[float, float]:
    """Variance of the capacity from the conductances alone, and its covariance with another window of the room."""
    hall = a_channel("hall", Role.ADJACENT_TEMP, 24.0 + DELTA_K[1], place="hall")
    balance = a_balance(a_timeline({"outside": 24.0 + DELTA_K[0]}, hall), room=room)
    keep = [item if item.name.startswith("UA to") else item.__class__(item.name, item.value, 0.0)
            for item in balance.ledger.inputs]  # fmt: skip
    result = propagate(keep, balance.model)
    return float(result.covariance[0, 0]), float(shared_covariance([result, result])[0, 1])


@pytest.mark.parametrize("r", [0.0, R, 0.5])
def test_what_one_run_told_together_adds_up_with_its_correlation(r: float) -> None:
    # Own algebra, JCGM 100:2008 equation (13): u² = Σ (u_i ΔT_i)² + 2 r (u_1 ΔT_1)(u_2 ΔT_2).
    parts = U * DELTA_K
    variance, shared = _envelope(_room(*([r] if r else [])))
    assert variance == pytest.approx(float(parts @ parts + 2.0 * r * parts[0] * parts[1]), rel=1e-6)
    assert shared == pytest.approx(variance, rel=1e-6)


def test_the_sum_is_known_better_than_its_parts_where_they_were_told_together() -> None:
    together, apart = total_ua(_room(R).surfaces), total_ua(_room().surfaces)
    assert together[0] == apart[0] == 30.0
    assert apart[1] == pytest.approx(2.0 * float(np.hypot(*U)))
    assert together[1] == pytest.approx(2.0 * float(np.sqrt(U @ U + 2.0 * R * U[0] * U[1])))


def test_correlations_that_cannot_be_are_drawn_towards_independence() -> None:
    surfaces = [
        Surface(to=name, ua_w_per_k=10.0, u95_w_per_k=2.0, correlation=r)
        for name, r in (("outdoor", ()), ("hall", (0.9,)), ("attic", (0.9, -0.9)))
    ]
    factor = told_apart(surfaces)
    r = factor @ factor.T
    assert np.diag(r) == pytest.approx(np.ones(3))
    assert 0.0 < r[1, 0] < 0.9


def test_a_surface_alone_is_written_as_it_always_was() -> None:
    assert "correlation" not in _room().model_dump()["surfaces"][1]
    assert _room(R).model_dump()["surfaces"][1]["correlation"] == (R,)
