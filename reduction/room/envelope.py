"""What the room's envelope and its fast store of heat are taken to be: as characterised, or as a stated band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.session import Room, Surface

FloatArray = NDArray[np.float64]

ORDINARY_ROOM_M3 = 30.0
ORDINARY_UA_W_PER_K = (4.0, 60.0)
"""To outdoors, from published U-values, for a room of 12 m² and 2.5 m: 4.0 W/K with one wall of 250 mm of insulation
(0.14 W/(m²·K)), 1.5 m² of triple panes (1.30) and 0.1 air changes an hour; 61 W/K at a corner of solid brick (2.20)
with 3 m² of single panes (4.80), a bare timber floor (0.83) and 0.5 changes. U-values: The Whole House Book, p. 180.

Any factor in between alike (a uniform logarithm, whose middle is about 20 W/K). To the rest of the house the same band
is taken, common practice, no source. Measured rooms are why a characterisation is asked for.
"""
HEAT_CAPACITY_J_PER_M2_K = {
    "very_light": 80e3,
    "light": 110e3,
    "medium": 165e3,
    "heavy": 260e3,
}
"""Effective heat capacity per floor area by construction, ISO 13790, 12.3.1.2, table 12."""
FAST_J_PER_M2_K = (10e3, 60e3)
"""Of air and what stands in it, per floor area: from 10 kJ/(m²·K), the default of ISO 52016-1 (from memory), to a
room full of furniture, some 50 kg/m² (common practice, no source). Walls, light ones too, are slow mass."""
STOREY_M = 2.5
LEAST_EIGENVALUE = 1e-6  # of a correlation, for its factor to exist in floating point


@dataclass(frozen=True)
class Conductance:
    """One surface's conductance with its standard uncertainty; `assumed` where no run of the room told it.

    `correlation` with the surfaces before it, of one run that told them together.
    """

    to: str
    ua_w_per_k: float
    u_w_per_k: float
    assumed: bool
    how: str
    correlation: tuple[float, ...] = ()


@dataclass(frozen=True)
class Store:
    """The heat capacity that follows the room's air."""

    c_j_per_k: float
    u_j_per_k: float
    assumed: bool
    how: str


def conductances(room: Room) -> tuple[Conductance, ...]:
    """Conductance to each neighbour: the tester's, or a band scaled with the room's surface.

    Examples
    --------
    >>> [(c.to, round(c.ua_w_per_k), round(c.u_w_per_k, 1)) for c in conductances(Room(volume_m3=30.0))]
    [('outdoor', 21, 15.3), ('adjacent', 21, 15.3)]
    """
    if room.surfaces:
        how = room.found_by or "as the tester states it"
        return tuple(
            Conductance(s.to, s.ua_w_per_k, s.u95_w_per_k / 2.0, False, how, s.correlation) for s in room.surfaces
        )
    scale = (room.volume_m3 / ORDINARY_ROOM_M3) ** (2.0 / 3.0)
    low, high = (edge * scale for edge in ORDINARY_UA_W_PER_K)
    band = f"{low:.0f} to {high:.0f} W/K assumed for a room of {room.volume_m3:g} m³"
    how = f"not characterised: {band}, from published U-values"
    width = np.log(high / low)
    middle = float((high - low) / width)
    u = np.sqrt((high**2 - low**2) / (2.0 * width) - middle**2)  # of a uniform logarithm
    return tuple(Conductance(to, middle, float(u), True, how) for to in ("outdoor", "adjacent"))


def told_apart(surfaces: Sequence[Conductance | Surface]) -> FloatArray:
    """Return the lower triangular factor of the surfaces' correlation, shape (k, k): independent parts of their errors.

    What cannot be a correlation, by a slip of hand or of rounding, is drawn towards independence until it can.

    References
    ----------
    JCGM 101:2008, 6.4.8.4: Cholesky factor of a covariance.

    Examples
    --------
    >>> told_apart([Surface(to="outdoor", ua_w_per_k=16.0, u95_w_per_k=10.0),
    ...             Surface(to="hall", ua_w_per_k=14.0, u95_w_per_k=12.0, correlation=(-0.8,))]).round(2).tolist()
    [[1.0, 0.0], [-0.8, 0.6]]
    """
    r = np.eye(len(surfaces))
    for i, surface in enumerate(surfaces):
        known = surface.correlation[:i]
        r[i, : len(known)] = r[: len(known), i] = known
    least = float(np.linalg.eigvalsh(r).min(initial=1.0))
    if least < LEAST_EIGENVALUE:
        r = np.eye(len(r)) + (r - np.eye(len(r))) * (1.0 - LEAST_EIGENVALUE) / (1.0 - least)
    return np.asarray(np.linalg.cholesky(r))


def total_ua(surfaces: Sequence[Surface]) -> tuple[float, float]:
    """Return ΣUA and its U95 [W/K], with what one run told of the surfaces together.

    Examples
    --------
    >>> total_ua([Surface(to="outdoor", ua_w_per_k=16.0, u95_w_per_k=10.0),
    ...           Surface(to="hall", ua_w_per_k=14.0, u95_w_per_k=10.0, correlation=(-0.5,))])
    (30.0, 10.0)
    """
    u95 = np.array([surface.u95_w_per_k for surface in surfaces])
    return sum(surface.ua_w_per_k for surface in surfaces), float(np.linalg.norm(u95 @ told_apart(surfaces)))


def fast_store(room: Room) -> Store:
    """Heat capacity that follows the air: the tester's, or a band by floor area.

    References
    ----------
    Sources of the band: beside `FAST_J_PER_M2_K`.

    Examples
    --------
    >>> store = fast_store(Room(volume_m3=37.5))
    >>> round(store.c_j_per_k / 1e3), round(store.u_j_per_k / 1e3)
    (525, 217)
    """
    if room.c_eff_j_per_k is not None:
        given = room.c_eff_u95_j_per_k
        u = given / 2.0 if given is not None else room.c_eff_j_per_k / 4.0
        how = room.found_by or "as the tester states it"
        return Store(room.c_eff_j_per_k, u, False, how if given is not None else f"{how}, ±50 % assumed")
    floor_m2 = room.floor_m2 or room.volume_m3 / STOREY_M
    low, high = (each * floor_m2 for each in FAST_J_PER_M2_K)
    how = f"not characterised: {low / 1e3:.0f} to {high / 1e3:.0f} kJ/K for air and furniture on {floor_m2:.0f} m²"
    return Store((low + high) / 2.0, float((high - low) / np.sqrt(12.0)), True, how)


def envelope_gain_w(ua_w_per_k: float, outside_temp_c: FloatArray, room_temp_c: FloatArray) -> float:
    """Mean heat flow through one surface into the room.

    Parameters
    ----------
    ua_w_per_k
        Conductance of the surface. [W/K]
    outside_temp_c, room_temp_c
        Samples on the aligned grid, shape (n,). [°C]

    Returns
    -------
    float
        Positive when heat enters the room. [W]

    Raises
    ------
    ValueError
        If the two series differ in length.

    References
    ----------
    The leakage terms of the room calorimeter balance (ISO 5151, room calorimeter annex, from memory).

    Examples
    --------
    >>> envelope_gain_w(35.0, np.array([36.0, 36.0]), np.array([22.0, 22.0]))
    490.0
    """
    if len(outside_temp_c) != len(room_temp_c):
        raise ValueError(f"{len(outside_temp_c)} samples outside, {len(room_temp_c)} in the room")
    return float(ua_w_per_k * np.mean(outside_temp_c - room_temp_c))
