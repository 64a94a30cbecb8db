"""How a room comes to its temperature, against the exponential solutions of a lumped room."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from reduction.planning.approach import STEP_S, Approach, air_store_j_per_k, approach, stores_of
from reduction.session import Room, SlowMass, Surface

UA = 30.0
WALLED = Room(
    volume_m3=30.0,
    construction="medium",
    surfaces=(Surface(to="outdoor", ua_w_per_k=UA, u95_w_per_k=3.0),),
    c_eff_j_per_k=6e5,
    c_eff_u95_j_per_k=6e4,
)
# Without walls: their conductance is next to nothing, and the air takes what follows it along.
BARE = WALLED.model_copy(
    update={
        "slow_mass": SlowMass(
            conductance_w_per_k=1e-9, conductance_u95_w_per_k=1e-10, capacity_j_per_k=1e-3, capacity_u95_j_per_k=1e-4
        )
    }
)


def _solved(room: Room, from_c: float, aim_w: float, to_c: float, times_s: np.ndarray) -> np.ndarray:
    """Air temperature by the exponential of the whole system's matrix, no step taken."""
    conductance, tau = stores_of(room)
    c = air_store_j_per_k(room)
    rate = np.zeros((tau.size + 2, tau.size + 2))  # air, stores, one
    rate[0, 0], rate[0, 1:-1] = -(UA + conductance.sum()) / c, conductance / c
    rate[0, -1] = (aim_w + UA * to_c) / c
    rate[1:-1, 0], rate[1:-1, 1:-1] = 1.0 / tau, -np.diag(1.0 / tau)
    start = np.append(np.full(tau.size + 1, from_c), 1.0)
    return np.array([(expm(rate * time) @ start)[0] for time in times_s])


@pytest.mark.parametrize("room", [BARE, WALLED], ids=["bare", "walled"])
@pytest.mark.parametrize(("from_c", "side"), [(27.0, -1.0), (21.0, 1.0)])
def test_the_way_of_a_room_is_the_exponential_solution(room: Room, from_c: float, side: float) -> None:
    """Source: dx/dt = A x has x = exp(A t) x₀, by scipy.linalg.expm."""
    spare, to = 300.0, 24.0
    course = approach(room, from_c, to, spare, 4 * 3600.0)
    time = STEP_S * np.arange(course.room_temp_c.size)
    exact = _solved(room, from_c, side * spare, to, time)
    on_the_way = side * (to - exact) > 0.1
    assert np.count_nonzero(on_the_way) > 20
    assert course.room_temp_c[on_the_way] == pytest.approx(exact[on_the_way], abs=0.06)
    assert course.room_temp_c[-1] == to


def test_a_room_with_nothing_to_spare_settles_by_its_time_constant() -> None:
    """Source: C dT/dt = −UA (T − T₁) has ΔT exp(−t UA/C), any text on heat transfer; C all that follows the air."""
    course = approach(BARE, 25.0, 24.0, 0.0, 12 * 3600.0)
    left = course.room_temp_c[[120, 240]] - 24.0  # two and four hours on
    conductance, tau = stores_of(BARE)
    slowest = (air_store_j_per_k(BARE) + float(conductance @ tau)) / UA
    assert 7200.0 / np.log(left[0] / left[1]) == pytest.approx(slowest, rel=0.1)


def test_a_room_is_steady_once_half_an_hour_is_flat_near_the_target() -> None:
    flat = Approach(np.full(61, 24.0), np.zeros(61), 24.0)
    assert flat.steady_s(0.3) == 0.0
    ramp = Approach(np.maximum(27.0 - np.arange(121) / 20.0, 24.0), np.zeros(121), 24.0)
    assert 0.75 * 3600.0 < ramp.steady_s(0.3) < 3600.0, "3 K at 3 K/h, but for the first minutes of half an hour"
    assert Approach(np.full(61, 26.0), np.zeros(61), 24.0).steady_s(0.3) == np.inf, "flat, and elsewhere"


def test_walls_give_what_stores_of_a_room_held_at_once_give() -> None:
    """Source: after a step of ΔT held at once a store gives G ΔT exp(−t/τ), any text on heat transfer."""
    course = approach(WALLED, 27.0, 24.0, 1e9, 6 * 3600.0)
    conductance, tau = stores_of(WALLED)
    time = STEP_S * np.arange(1, course.mass_w.size)
    exact = 3.0 * np.exp(-(time[:, None] - STEP_S) / tau) @ conductance
    late = time > 600.0
    assert course.mass_w[1:][late] == pytest.approx(exact[late], rel=0.15)
    assert np.all(np.diff(course.mass_w[1:]) < 0.0)
    warmer = approach(WALLED, 21.0, 24.0, 1e9, 6 * 3600.0)
    assert warmer.mass_w == pytest.approx(-course.mass_w)


def test_more_to_spare_brings_a_room_there_sooner_and_walls_hold_it_back() -> None:
    slow, quick = (approach(WALLED, 27.0, 24.0, spare, 86_400.0).steady_s(0.3) for spare in (200.0, 600.0))
    bare = approach(BARE, 27.0, 24.0, 200.0, 86_400.0).steady_s(0.3)
    assert bare < slow
    assert quick < slow
