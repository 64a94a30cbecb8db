"""The temperatures that drive the room's stores of heat, with the conductances and capacity they act through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.relaxation import fill_gaps
from reduction.session import Role, Room, Session
from reduction.timeline import Timeline

FloatArray = NDArray[np.float64]

MOST_CELLS = 20_000
DEFAULT_UA_W_PER_K_M3 = 0.9  # 8 to 50 W/K in an ordinary room of 30 m³; common practice, no source
DEFAULT_C_J_PER_K_M3 = 13e3  # air, furniture, plaster: 250 to 600 kJ/K in a room of 30 m³; common practice, no source
DEFAULT_REL_U = 0.5


@dataclass(frozen=True)
class Drivers:
    """One row per cell: the room's temperature and that of each neighbour, none missing.

    `room_c` shape (n,), `neighbours_c` one of shape (n,) per surface [°C]; `ua_w_per_k`, `ua_u_w_per_k` shape (k,)
    [W/K]; `c_j_per_k`, `c_u_j_per_k` of the store that follows the air [J/K].
    """

    start_s: float
    step_s: float
    room_c: FloatArray
    neighbours_c: tuple[FloatArray, ...]
    ua_w_per_k: FloatArray
    ua_u_w_per_k: FloatArray
    c_j_per_k: float
    c_u_j_per_k: float

    def spans(self, windows: Sequence[tuple[float, float]]) -> NDArray[np.int64]:
        """First and one-past-last cell of each window, at least one cell each, shape (k, 2)."""
        edges = np.rint((np.asarray(windows, dtype=float).reshape(-1, 2) - self.start_s) / self.step_s).astype(np.int64)
        first = np.clip(edges[:, 0], 0, self.room_c.size - 1)
        return np.stack([first, np.clip(edges[:, 1], first + 1, self.room_c.size)], axis=1)

    def gain_w(self) -> FloatArray:
        """UA·ΔT of all surfaces less C·dT/dt is left to the caller: this is ΣUA·(T_neighbour − T_room), shape (n,)."""
        return np.asarray(sum(u * (t - self.room_c) for u, t in zip(self.ua_w_per_k, self.neighbours_c, strict=True)))


def coarsened(cells: FloatArray, factor: int) -> FloatArray:
    """Means of `factor` cells each; a rest at the end is dropped.

    Examples
    --------
    >>> coarsened(np.array([1.0, 3.0, 5.0, 7.0, 9.0]), 2).tolist()
    [2.0, 6.0]
    """
    if factor == 1:
        return cells
    whole = cells[: cells.size // factor * factor].reshape(-1, factor)
    known = np.isfinite(whole)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(known, whole, 0.0).sum(axis=1) / known.sum(axis=1))


def cell_factor(timeline: Timeline) -> int:
    """How many cells of the timeline make one here, so that a week is as quick as a day."""
    return max(1, -(-timeline.grid_s.size // MOST_CELLS))


def role_cells(timeline: Timeline, *roles: Role, place: str | None = None) -> list[FloatArray]:
    """Cells of every channel with one of the roles (and at the place, where asked), coarsened alike."""
    factor = cell_factor(timeline)
    return [
        coarsened(timeline.cells[key], factor)
        for key, series in timeline.series.items()
        if series.role in roles and key in timeline.cells and (place is None or series.place == place)
    ]


def mean_cells(timeline: Timeline, *roles: Role, place: str | None = None) -> FloatArray | None:
    """Mean over the channels of the roles, each carrying its own offset all along, gaps bridged; None without any."""
    filled = [fill_gaps(c) for c in role_cells(timeline, *roles, place=place)]
    filled = [c for c in filled if np.isfinite(c).all()]
    return np.asarray(np.mean(filled, axis=0)) if filled else None


def _neighbour(timeline: Timeline, to: str) -> FloatArray | None:
    if to == "outdoor":
        outdoor = mean_cells(timeline, Role.OUTDOOR_TEMP)
        return outdoor if outdoor is not None else mean_cells(timeline, Role.CONDENSER_INLET_TEMP)
    named = mean_cells(timeline, Role.ADJACENT_TEMP, place=to)
    return named if named is not None else mean_cells(timeline, Role.ADJACENT_TEMP)


def _surfaces(room: Room) -> list[tuple[str, float, float]]:
    """(to, UA, u) of each surface; without any, one default band to outdoors and one to the neighbours."""
    if room.surfaces:
        return [(s.to, s.ua_w_per_k, s.u95_w_per_k / 2.0) for s in room.surfaces]
    half = DEFAULT_UA_W_PER_K_M3 * room.volume_m3 / 2.0
    return [("outdoor", half, DEFAULT_REL_U * half), ("adjacent", half, DEFAULT_REL_U * half)]


def room_drivers(timeline: Timeline, session: Session) -> Drivers | None:
    """Collect what drives the room's stores; None where the room has no usable temperature.

    Parameters
    ----------
    timeline
        All channels on one grid.
    session
        For the room's surfaces and capacity; what is missing gets a default band.

    Returns
    -------
    Drivers or None
        On the timeline's grid, or a coarser one for very long logs.
    """
    room_c = mean_cells(timeline, Role.ROOM_TEMP)
    if room_c is None:
        room_c = mean_cells(timeline, Role.RETURN_TEMP)
    if room_c is None:
        return None
    found = [(_neighbour(timeline, to), ua, u) for to, ua, u in _surfaces(session.room)]
    known = [(t, ua, u) for t, ua, u in found if t is not None]
    c = session.room.c_eff_j_per_k or DEFAULT_C_J_PER_K_M3 * session.room.volume_m3
    c_u95 = session.room.c_eff_u95_j_per_k
    if session.room.c_eff_j_per_k is None or c_u95 is None:
        c_u95 = 2.0 * DEFAULT_REL_U * c
    return Drivers(
        start_s=float(timeline.grid_s[0]),
        step_s=timeline.step_s * cell_factor(timeline),
        room_c=room_c,
        neighbours_c=tuple(t for t, _, _ in known),
        ua_w_per_k=np.array([ua for _, ua, _ in known]),
        ua_u_w_per_k=np.array([u for _, _, u in known]),
        c_j_per_k=c,
        c_u_j_per_k=c_u95 / 2.0,
    )
