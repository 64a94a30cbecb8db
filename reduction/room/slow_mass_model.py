"""The slow mass as a model that is linear in everything but its time constants, and its exact Bayesian update.

For each choice of time constants the conductances, the states at the first sample and the errors of UA and C act
linearly, so their normal priors update in closed form; the choices are then weighted by how well they explain the log.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from reduction.room.envelope import HEAT_CAPACITY_J_PER_M2_K
from reduction.room.relaxation import decay_means, relaxing_means, span_means
from reduction.room.room_drivers import Drivers
from reduction.session import Room

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOUR_S = 3600.0
FILM_W_PER_M2_K = 3.2  # air to surface, convection only: 2.5 (walls) to 5 (floor, fan on); handbook range, from memory
INNER_SURFACE_PER_VOLUME = 6.1  # area = 6.1 V^(2/3): a 4 × 3 × 2.5 m room has 59 m² around 30 m³
STOREY_M = 2.5
UNKNOWN_J_PER_M2_K = 150e3  # per floor area: between light and heavy
CAPACITY_LOG_SD = 0.8
# Of the film, to boards and the outer centimetres of walls, and to what lies deeper: what layered walls of each class
# take up after a step, by exact conduction (own study, kept as a test), smooth over ways to build it.
SHARES = {
    "very_light": (0.60, 0.08),
    "light": (0.55, 0.20),
    "medium": (0.42, 0.30),
    "heavy": (0.32, 0.50),
    "unknown": (0.45, 0.33),
}
SHARE_SD = (0.22, 0.24)  # with what is not known of the film, which errs alike in both, …
BUILT_SD = 0.12  # … and without
LEAST_DEEP = 0.3  # of a room's heat capacity, that lies deep however much its boards hold
MIDDLE_TAU_S = (1.3 * HOUR_S, 0.6)  # median, sd of log
MIDDLE_TAUS_S: FloatArray = np.geomspace(0.5, 4.0, 5) * HOUR_S
SLOW_TAUS_S: FloatArray = np.geomspace(2.0, 40.0, 9) * HOUR_S
QUICK_SHARE = 0.2  # of a stated conductance: what one store stands for answers sooner at first, and longer
STORE_TAUS_S = (120.0, 60.0 * HOUR_S)  # no store that a characterisation found is taken as quicker or slower
FAST_TAUS_S: FloatArray = np.array([8.0, 20.0, 45.0]) * 60.0  # the fast store behind the air
FAST_SHARE = (0.75, 0.13)  # of C, what is not air itself
# Of a surface's UA, in each of the two stores; the rest is panes, leaks, thin doors. A wall of several layers answers
# late, so that the shares of its relaxations may lie beyond one and below nought.
MASSIVE_SHARE = (0.30, 0.30)
# What the room may have changed by before the log (weight): soaked, not quite, or newly come to its temperature, …
HISTORY_SD_K = ((0.1, 0.74), (0.42, 0.20), (0.9, 0.06))
SOAK_S: FloatArray = np.geomspace(0.25, 24.0, 12) * HOUR_S  # … at an unknown time before, any decade alike
OUTDOOR_HISTORY_SD_K = 2.0  # outdoor air at the log's start against its mean over the day before
INDOOR_HISTORY_SD_K = 0.5  # the rest of the house, likewise
LOG_TO_DAY = 2.0  # of a day's swing, a log of some hours sees about half
RADIANT_TO_WALLS = 0.65  # of radiant heat; the rest meets furniture, doors and panes, which hand it on at once
RADIANT_REL_U = 0.35  # of how much heat is radiant and how much of that meets the walls
HISTORY_TAU_S = 4.0 * HOUR_S  # a wall much slower than this carries all of that, a quicker one only part


@dataclass(frozen=True)
class Stores:
    """Prior of one room's two relaxations: conductances [W/K] and weights of the time constants' choices.

    `film_w_per_k` from the air to all surfaces together.
    """

    film_w_per_k: float
    middle_w_per_k: tuple[float, float]
    slow_w_per_k: tuple[float, float]
    middle_taus_s: FloatArray
    slow_taus_s: FloatArray
    middle_weight: FloatArray
    slow_weight: FloatArray


@dataclass(frozen=True)
class Choices:
    """Choices of time constants [s] and of what the room may have changed by before [K], with their prior weights.

    Each of shape (c,); `stores_s` the middle and the slow time constant, shape (2, c).
    """

    stores_s: FloatArray
    fast_s: FloatArray
    history_k: FloatArray
    weight: FloatArray


def _weights(taus_s: FloatArray, median_s: float, log_sd: float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (np.log(taus_s / median_s) / log_sd) ** 2))


def wall_capacity_j_per_k(room: Room) -> float:
    """Return what a room's walls take up in a day [J/K], by floor area and construction.

    References
    ----------
    ISO 13790, 12.3.1.2, table 12.

    Examples
    --------
    >>> wall_capacity_j_per_k(Room(volume_m3=30.0, construction="medium"))
    1980000.0
    """
    floor_m2 = room.floor_m2 or room.volume_m3 / STOREY_M
    return HEAT_CAPACITY_J_PER_M2_K.get(room.construction, UNKNOWN_J_PER_M2_K) * floor_m2


def prior_stores(room: Room) -> Stores:
    """Conductances and time constants from a characterisation where there is one, else by volume and construction.

    References
    ----------
    Method §1 "Slow mass"; ISO 13790 classes of effective capacity per floor area; film from memory.
    """
    film = FILM_W_PER_M2_K * INNER_SURFACE_PER_VOLUME * room.volume_m3 ** (2.0 / 3.0)
    if room.slow_mass is not None:
        mass = room.slow_mass
        h, c = mass.conductance_w_per_k, mass.capacity_j_per_k
        h_u, c_u = mass.conductance_u95_w_per_k / 2.0, mass.capacity_u95_j_per_k / 2.0
        log_sd = float(np.hypot(h_u / h, c_u / c)) + 0.1
        quick = np.array([0.3, 1.0]) * HOUR_S
        slow_s = (c - QUICK_SHARE * h * quick.mean()) / ((1.0 - QUICK_SHARE) * h)
        slow_s = max(slow_s, LEAST_DEEP * c / h)
        taus = np.clip(slow_s * np.exp(log_sd * np.linspace(-2.0, 2.0, 9)), *STORE_TAUS_S)
        return Stores(
            film, (QUICK_SHARE * h, 0.2 * h), ((1.0 - QUICK_SHARE) * h, h_u), quick, taus, np.ones(2),
            _weights(taus, slow_s, log_sd),
        )  # fmt: skip
    middle, slow = (share * film for share in SHARES[room.construction])
    capacity = wall_capacity_j_per_k(room)
    deep = max(capacity - middle * MIDDLE_TAU_S[0], LEAST_DEEP * capacity)
    return Stores(
        film,
        (middle, SHARE_SD[0] * film),
        (slow, SHARE_SD[1] * film),
        MIDDLE_TAUS_S,
        SLOW_TAUS_S,
        _weights(MIDDLE_TAUS_S, *MIDDLE_TAU_S),
        _weights(SLOW_TAUS_S, deep / slow, CAPACITY_LOG_SD),
    )


def choices(stores: Stores) -> Choices:
    """Every choice of time constants in which the slow store is slower than the middle one."""
    middle = zip(stores.middle_taus_s, stores.middle_weight, strict=True)
    slow = zip(stores.slow_taus_s, stores.slow_weight, strict=True)
    every = [
        (m, s, fast, history_k, wm * ws * wh)
        for (m, wm), (s, ws), fast, (history_k, wh) in product(middle, slow, FAST_TAUS_S, HISTORY_SD_K)
        if s > 1.4 * m
    ]
    middle_s, slow_s, fast_s, history_k, weight = np.array(every).T
    return Choices(np.stack([middle_s, slow_s]), fast_s, history_k, weight)


def design(drivers: Drivers, edges: IntArray, chosen: Choices) -> FloatArray:
    """What one unit of each coefficient gives to the room in each span, shape (choices, spans, coefficients). [W]

    Coefficients: middle and slow conductance, fast share, per store and surface the massive share of UA, per store
    its state at the first sample (as heat flow).
    """
    taus_s, store = np.unique(chosen.stores_s, return_inverse=True)
    store = store.reshape(chosen.stores_s.shape)
    fast_s, fast = np.unique(chosen.fast_s, return_inverse=True)
    room = relaxing_means(drivers.room_c, drivers.step_s, np.concatenate([taus_s, fast_s]), edges)
    around = [relaxing_means(t, drivers.step_s, taus_s, edges) for t in drivers.neighbours_c]
    slope = span_means(np.gradient(drivers.room_c, drivers.step_s), edges)
    kept = drivers.c_j_per_k * (slope - room[len(taus_s) :] / fast_s[:, None])
    massive = [-ua * means[store] for ua, means in zip(drivers.ua_w_per_k, around, strict=True)]
    start = decay_means(drivers.step_s, taus_s, edges)[store]
    return np.concatenate([-room[store], kept[fast][None], *massive, -start]).transpose(1, 2, 0)


def coefficient_names(drivers: Drivers) -> tuple[str, ...]:
    """Return the names of those coefficients of `design` that are the room's, not one log's: all but the last two."""
    walls = [f"walls to {to}, {store} store" for to in drivers.neighbours for store in ("middle", "slow")]
    return ("conductance of the middle store", "conductance of the slow store", "share of the fast store", *walls)


def _start(stores: Stores, drivers: Drivers, chosen: Choices) -> tuple[FloatArray, FloatArray]:
    """Mean and u of what each store takes up at the first sample, from what happened before, shape (2, choices).

    Heaters that radiate have been warming the stores since they were switched on. What moved during the log moved
    before it too: its spread there widens the history that is taken for granted.
    """
    tau = chosen.stores_s
    soaked = np.exp(-SOAK_S[:, None, None] / tau)
    left = np.sqrt(np.mean(soaked**2, axis=0))
    known = np.array([stores.middle_w_per_k, stores.slow_w_per_k])
    size = np.hypot(*known.T)[:, None]  # of mean and sd together
    room = size * chosen.history_k * left
    warmed_k = RADIANT_TO_WALLS * drivers.radiant_w / stores.film_w_per_k
    radiant = known[:, :1] * warmed_k * np.mean(soaked, axis=0)
    built = np.hypot(known[:, :1], BUILT_SD * stores.film_w_per_k)  # a better film takes up more of less warming
    radiant_u = np.sqrt((built * warmed_k * left) ** 2 * (1.0 + RADIANT_REL_U**2) - radiant**2)
    seen = LOG_TO_DAY * np.array([np.std(temp_c) for temp_c in drivers.neighbours_c])
    history = np.hypot(np.where(drivers.outdoors, OUTDOOR_HISTORY_SD_K, INDOOR_HISTORY_SD_K), seen)
    share = np.hypot(*MASSIVE_SHARE)
    around = share * np.sqrt(np.sum((drivers.ua_w_per_k * history) ** 2)) * tau / (tau + HISTORY_TAU_S)
    return radiant, np.sqrt(room**2 + around**2 + radiant_u**2)


def prior(stores: Stores, drivers: Drivers, chosen: Choices) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation of the coefficients of `design`, shape (choices, coefficients) each."""
    shares = [MASSIVE_SHARE] * (2 * len(drivers.neighbours_c))
    same = np.array([stores.middle_w_per_k, stores.slow_w_per_k, FAST_SHARE, *shares]).T
    mean, sd = (
        np.concatenate([np.repeat(row[:, None], chosen.weight.size, axis=1), start]).T
        for row, start in zip(same, _start(stores, drivers, chosen), strict=True)
    )
    return mean, sd
