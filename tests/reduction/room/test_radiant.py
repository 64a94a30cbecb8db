"""Radiant heaters: the share that leaves, against a network of surfaces solved for itself."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.room.radiant import radiant_heater_term
from reduction.session import HeaterKind, Room, Surface

ROOM = Room(
    volume_m3=30.0,
    surfaces=(
        Surface(to="outdoor", ua_w_per_k=15.0, u95_w_per_k=2.0),
        Surface(to="adjacent", ua_w_per_k=20.0, u95_w_per_k=3.0),
    ),
)


def lost_in_a_network(radiant_w: float, ua: np.ndarray, film: np.ndarray) -> float:
    """Solve each surface's own balance, the air held: film·T = radiant part − K·T, with UA = film·K/(film + K)."""
    behind = ua * film / (film - ua)
    warm_k = radiant_w * film / film.sum() / (film + behind)
    return float((behind * warm_k).sum())


def test_the_loss_of_a_radiant_heater_is_that_of_a_network_of_surfaces() -> None:
    # three surfaces of 59 m² in all at 4 W/(m²·K), half of 1500 W radiated, three quarters of it on the envelope
    film = 4.0 * 59.0 * np.array([0.3, 0.4, 0.3])
    lost = lost_in_a_network(0.75 * 0.5 * 1500.0, np.array([15.0, 20.0, 0.0]), film)
    term = radiant_heater_term(1500.0, HeaterKind.RADIANT, ROOM)
    assert abs(-term.value_w - lost) < term.u_w


@pytest.mark.parametrize("kind", HeaterKind)
def test_the_term_never_adds_to_the_capacity_and_covers_nought_for_a_fan_heater(kind: HeaterKind) -> None:
    term = radiant_heater_term(1500.0, kind, ROOM)
    assert term.value_w <= 0.0
    assert term.u_w > 0.0


def test_a_fan_forced_heater_costs_a_tenth_of_a_glowing_one() -> None:
    glowing = radiant_heater_term(1500.0, HeaterKind.RADIANT, ROOM)
    fan = radiant_heater_term(1500.0, HeaterKind.FAN_FORCED, ROOM)
    assert fan.value_w == pytest.approx(glowing.value_w / 10.0, rel=0.1)
    assert fan.u_w < 10.0 < glowing.u_w


def test_twice_the_heat_loses_twice_as_much() -> None:
    one, two = (radiant_heater_term(w, HeaterKind.OIL_FILLED, ROOM) for w in (700.0, 1400.0))
    assert (two.value_w, two.u_w) == pytest.approx((2 * one.value_w, 2 * one.u_w))
