"""How a room gets from its temperature before a test to the one wanted, and what its walls still give on the way.

Unit and constant heater run; the switched heater stays off (or on) until the room is there and then holds it. Air is
one store; what follows it soon, furniture and walls are relaxing stores beside it, as the slow-mass term has them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from reduction.documents.room import Room
from reduction.ground.constants import SECONDS_PER_HOUR
from reduction.room.envelope import conductances, fast_store
from reduction.room.slow_mass_model import FAST_SHARE, FAST_TAUS_S, prior_stores

FloatArray = NDArray[np.float64]

STEP_S = 60.0
JUDGED_STEPS = 30  # a slope is that of half an hour, as a window is judged
LEAST_SHARE = 0.1  # of what is known of a store: none vanishes
NEAR_K = 1.0  # of the temperature wanted; a room that stands still further off is not at its target


@dataclass(frozen=True)
class Approach:
    """Room temperature [°C] and the heat its mass gives [W], every STEP_S from the start."""

    room_temp_c: FloatArray
    mass_w: FloatArray
    to_c: float

    def steady_s(self, slope_k_per_h: float) -> float:
        """Return the time [s] from which the room changes no faster than a slope [K/h]; `inf`: not within its time."""
        spans = np.lib.stride_tricks.sliding_window_view(self.room_temp_c, JUDGED_STEPS + 1)
        hours = np.arange(JUDGED_STEPS + 1) * STEP_S / SECONDS_PER_HOUR
        hours -= hours.mean()
        slope = np.abs(spans @ hours) / (hours @ hours)
        near = np.abs(spans.mean(axis=1) - self.to_c) <= NEAR_K
        calm = np.flatnonzero((slope <= slope_k_per_h) & near)
        return float(calm[0]) * STEP_S if calm.size else float("inf")


def air_store_j_per_k(room: Room, sd: float = 0.0) -> float:
    """Return what of a room's heat capacity moves with its air [J/K]."""
    return (1.0 - FAST_SHARE[0]) * _capacity_j_per_k(room, sd)


def stores_of(room: Room, sd: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Return conductances [W/K] and time constants [s] of what relaxes beside the air of a room."""
    stores, fast_s = prior_stores(room), float(np.median(FAST_TAUS_S))
    fast = FAST_SHARE[0] * _capacity_j_per_k(room, sd) / fast_s
    middle = _at(stores.middle_w_per_k, sd) * stores.middle_weight / stores.middle_weight.sum()
    slow = _at(stores.slow_w_per_k, sd) * stores.slow_weight / stores.slow_weight.sum()
    taus = (np.array([fast_s]), stores.middle_taus_s, stores.slow_taus_s)
    return np.concatenate([np.array([fast]), middle, slow]), np.concatenate(taus)


@lru_cache(maxsize=64)
def approach(
    room: Room, from_c: float, to_c: float, spare_w: float, lasts_s: float, unit_w_per_k: float = 0.0, sd: float = 0.0
) -> Approach:
    """Follow a room from one temperature to another, then held there, for a time of `lasts_s`.

    Parameters
    ----------
    room
        Conductances, heat capacity and stores.
    from_c, to_c
        Temperature of air and walls before, and the one wanted. [°C]
    spare_w
        Heat by which the switched heater, off or on, exceeds what would hold the room at `to_c`. [W]
    lasts_s
        How long to follow it. [s]
    unit_w_per_k
        By how much more the unit cools a warmer room. [W/K]
    sd
        By how many standard deviations heat capacity and walls exceed what is known of them.

    Returns
    -------
    Approach
        The switched heater holds the room once it is there.

    References
    ----------
    C dT/dt = ∓P − (ΣUA + S) (T − T₁) + Σ Gⱼ (Tⱼ − T), τⱼ dTⱼ/dt = T − Tⱼ: a lumped room, any text on heat transfer;
    solved exactly over each step with the room's temperature held.
    """
    conductance, tau = stores_of(room, sd)
    leak = unit_w_per_k + sum(surface.ua_w_per_k for surface in conductances(room))
    c, count = air_store_j_per_k(room, sd), int(np.ceil(lasts_s / STEP_S)) + 1
    keep = np.exp(-STEP_S / tau)
    pull = leak + conductance.sum()
    ease = -np.expm1(-pull * STEP_S / c) / pull  # K for a watt held over one step
    side = np.sign(to_c - from_c)
    temp, mass = np.full(count, to_c), np.zeros(count)
    air, stores = from_c, np.full(tau.size, from_c)
    for n in range(count):
        temp[n], mass[n] = air, conductance @ (stores - air)
        stores = air + (stores - air) * keep
        if air != to_c:
            air += ease * (side * spare_w - leak * (air - to_c) + conductance @ (stores - air))
            air = to_c if side * (to_c - air) <= 0.0 else air
    return Approach(temp, mass, to_c)


def _capacity_j_per_k(room: Room, sd: float) -> float:
    store = fast_store(room)
    return _at((store.c_j_per_k, store.u_j_per_k), sd)


def _at(value_and_u: tuple[float, float], sd: float) -> float:
    value, u = value_and_u
    return max(value + sd * u, LEAST_SHARE * value)
