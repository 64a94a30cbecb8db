"""What is taken of a room that nobody characterised, against layered walls solved exactly."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.room.slow_mass_model import Stores, prior_stores
from reduction.session import Room, SlowMass
from tests.layered_walls import ROOMS, uptake_w_per_k

HOURS = np.array([0.5, 1.0, 2.0, 4.0])


def _taken_up(stores: Stores) -> np.ndarray:
    """W/K at each of the hours after a step of the air."""
    middle = np.exp(-3600.0 * HOURS[:, None] / stores.middle_taus_s) @ stores.middle_weight / stores.middle_weight.sum()
    slow = np.exp(-3600.0 * HOURS[:, None] / stores.slow_taus_s) @ stores.slow_weight / stores.slow_weight.sum()
    return stores.middle_w_per_k[0] * middle + stores.slow_w_per_k[0] * slow


@pytest.mark.parametrize("construction", ROOMS)
def test_a_room_of_known_construction_takes_up_what_its_layered_walls_do(construction: str) -> None:
    found = _taken_up(prior_stores(Room(volume_m3=30.0, construction=construction)))
    exact = uptake_w_per_k(construction, 3600.0 * HOURS)
    assert np.all(np.abs(found - exact) < 0.15 * exact + 12.0), "one way to build of many; W/K"


def test_what_is_not_known_of_a_room_spans_light_and_heavy_walls() -> None:
    stores = prior_stores(Room(volume_m3=30.0))
    found, u = _taken_up(stores), np.hypot(stores.middle_w_per_k[1], stores.slow_w_per_k[1])
    every = np.array([uptake_w_per_k(each, 3600.0 * HOURS) for each in ROOMS])
    assert np.all(np.abs(every - found) < 2.0 * u)
    assert found == pytest.approx(every.mean(axis=0), rel=0.2)


def test_a_stated_store_keeps_its_conductance_and_its_heat() -> None:
    mass = SlowMass(
        conductance_w_per_k=80.0, conductance_u95_w_per_k=8.0, capacity_j_per_k=1.2e6, capacity_u95_j_per_k=1e5
    )
    stores = prior_stores(Room(volume_m3=30.0, slow_mass=mass))
    assert stores.middle_w_per_k[0] + stores.slow_w_per_k[0] == pytest.approx(80.0)
    middle = stores.middle_w_per_k[0] * float(np.mean(stores.middle_taus_s))
    slow = stores.slow_w_per_k[0] * float(np.median(stores.slow_taus_s))
    assert middle + slow == pytest.approx(1.2e6, rel=0.01)
