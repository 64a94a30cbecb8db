"""The replica simulator itself: energy kept, closed forms, and nothing shared with the program it tests."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest
from scipy.linalg import expm

from fixtures.replicas import rooms as network
from fixtures.replicas.loggers import PROBE, _read
from fixtures.replicas.run import simulate
from fixtures.replicas.sessions import KINDS, STEP_S, draw_plan
from tests.layered_walls import ROOMS, uptake_w_per_k

FOLDER = Path(network.__file__).parent


def test_the_simulator_shares_no_code_with_the_reduction() -> None:
    imported = {
        name
        for path in FOLDER.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        for name in (
            [node.module or ""] if isinstance(node, ast.ImportFrom) else [a.name for a in getattr(node, "names", [])]
        )
    }
    assert "numpy" in imported
    assert not {name for name in imported if name.startswith(("reduction", "units", "tests"))}


def test_each_room_has_more_stores_than_any_fit() -> None:
    assert network.STORES > 5


def test_a_settled_room_gains_by_its_ua_alone() -> None:
    rooms = network.draw_rooms(np.random.default_rng(1), 50)
    inputs = np.tile([35.0, 26.0, 0.0, 0.0], (50, 1))
    free = rooms.settled(inputs)[:, network.AIR]
    heat = inputs + np.eye(4)[network.AIR_HEAT] * 100.0
    warm = rooms.settled(heat)[:, network.AIR]
    assert 100.0 / (warm - free) == pytest.approx(rooms.ua_out + rooms.ua_adjacent)
    assert free == pytest.approx((35.0 * rooms.ua_out + 26.0 * rooms.ua_adjacent) / (rooms.ua_out + rooms.ua_adjacent))


def test_steps_of_any_length_lead_to_the_same_place() -> None:
    rooms = network.draw_rooms(np.random.default_rng(2), 5)
    inputs = np.tile([30.0, 24.0, 300.0, 100.0], (5, 1))
    ends = []
    for step, times in ((5.0, 120), (300.0, 2)):
        a, b = rooms.matrices(step)
        state = np.full((5, network.STORES), 20.0)
        for _ in range(times):
            state = np.einsum("rij,rj->ri", a, state) + np.einsum("rij,rj->ri", b, inputs)
        ends.append(state)
    assert ends[0] == pytest.approx(ends[1], abs=1e-8)


@pytest.mark.parametrize("kind", KINDS)
def test_the_course_keeps_to_its_plan(kind: str) -> None:
    rng = np.random.default_rng(3)
    plan = draw_plan(kind, 12, rng)
    course = simulate(plan, rng)
    inside = (course.time_s >= plan.window_s[:, :1]) & (course.time_s < plan.window_s[:, 1:])
    assert np.all(course.total_w >= course.sensible_w)
    assert (course.condensate_kg_per_s.max() > 0.0) == (kind == "latent load")
    mean_c = np.sum(course.room_c * inside, axis=1) / inside.sum(axis=1)
    assert np.median(np.abs(mean_c - plan.set_c)) < 0.3


def test_readings_are_wrong_by_no_more_than_their_limits() -> None:
    true = np.full(2000, 24.0)
    means = np.array([_read(true, PROBE, 0.0, np.random.default_rng(seed)).mean() for seed in range(300)])
    limit = PROBE.offset + PROBE.gain * 24.0 + 0.005
    assert np.all(np.abs(means - 24.0) < limit)
    assert np.std(means) == pytest.approx(np.hypot(PROBE.offset, PROBE.gain * 24.0) / np.sqrt(3.0), rel=0.15)
    assert STEP_S == 5.0


def test_simulated_walls_take_up_heat_as_layered_ones_do() -> None:
    """Air held one kelvin up: what flows into everything but furniture, of many rooms, against walls solved exactly."""
    hours = np.array([0.5, 1.0, 2.0, 4.0])
    rooms = network.draw_rooms(np.random.default_rng(4), 200)
    a, _ = rooms.rates()
    walls = slice(network.WALL_SKIN, None)
    into = a[:, walls, network.AIR] * rooms.capacity[:, walls]  # W/K from the air to each store
    inner = a[:, walls, walls]
    missing = np.linalg.solve(inner, a[:, walls, network.AIR, None])  # each store's way to where it will settle, −K
    flows = [np.einsum("ri,rij,rjk->r", into, expm(inner * 3600.0 * hour), -missing) for hour in hours]
    found = np.array(flows) * (30.0 / rooms.volume_m3) ** (2.0 / 3.0)
    low, middle, high = np.percentile(found, [5.0, 50.0, 95.0], axis=1)
    every = np.array([uptake_w_per_k(each, 3600.0 * hours) for each in ROOMS])
    assert np.all((every > 0.7 * low) & (every < 1.3 * high))
    assert middle == pytest.approx(every.mean(axis=0), rel=0.3)
