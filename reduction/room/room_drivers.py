"""The temperatures that drive the room's stores of heat, with the conductances and capacity they act through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from reduction.align.timeline import Timeline, group_cells
from reduction.room.envelope import conductances, fast_store
from reduction.room.radiant import RADIANT_SHARE
from reduction.room.relaxation import fill_gaps
from reduction.session import Role, Session
from reduction.windows.cycles import heater_cycle, unit_cycle

FloatArray = NDArray[np.float64]

MOST_CELLS = 20_000


@dataclass(frozen=True)
class Drivers:
    """One row per cell: the room's temperature and that of each neighbour, none missing.

    `room_c` shape (n,), `neighbours_c` one of shape (n,) per surface [°C];
    `neighbours` their names; `ua_w_per_k`, `ua_u_w_per_k` shape (k,)
    [W/K]; `c_j_per_k`, `c_u_j_per_k` of the store that follows the air [J/K];
    `radiant_w` mean heat that heaters send straight to surfaces.
    """

    start_s: float
    step_s: float
    room_c: FloatArray
    neighbours: tuple[str, ...]
    neighbours_c: tuple[FloatArray, ...]
    ua_w_per_k: FloatArray
    ua_u_w_per_k: FloatArray
    c_j_per_k: float
    c_u_j_per_k: float
    radiant_w: float = 0.0

    @property
    def outdoors(self) -> tuple[bool, ...]:
        """Which neighbours are outdoor air."""
        return tuple(to == "outdoor" for to in self.neighbours)

    def spans(self, windows: Sequence[tuple[float, float]]) -> NDArray[np.int64]:
        """First and one-past-last cell of each window, at least one cell each, shape (k, 2)."""
        edges = np.rint((np.asarray(windows, dtype=float).reshape(-1, 2) - self.start_s) / self.step_s).astype(np.int64)
        first = np.clip(edges[:, 0], 0, self.room_c.size - 1)
        return np.stack([first, np.clip(edges[:, 1], first + 1, self.room_c.size)], axis=1)


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


def mean_cells(timeline: Timeline, *roles: Role, place: str | None = None) -> FloatArray | None:
    """Mean over the channels of the roles (and at the place, where asked), gaps bridged; None without any."""
    keys = {s.key: s for s in timeline.of(*roles) if place is None or s.place == place}
    some = replace(timeline, series=keys) if place is not None else timeline
    cells = fill_gaps(coarsened(group_cells(some, *roles), cell_factor(timeline)))
    return cells if np.isfinite(cells).all() else None


def total_power(timeline: Timeline, powers: Role, energies: Role | None = None) -> FloatArray | None:
    """Sum over the power channels of a role, or over the energy counters where there is no power; None without any."""
    series = timeline.of(powers) or (timeline.of(energies) if energies else ())
    if not series:
        return None
    factor = cell_factor(timeline)
    return np.asarray(sum(np.nan_to_num(fill_gaps(coarsened(timeline.cells[s.key], factor))) for s in series))


def _neighbour(timeline: Timeline, to: str) -> FloatArray | None:
    if to == "outdoor":
        outdoor = mean_cells(timeline, Role.OUTDOOR_TEMP)
        return outdoor if outdoor is not None else mean_cells(timeline, Role.CONDENSER_INLET_TEMP)
    named = mean_cells(timeline, Role.ADJACENT_TEMP, place=to)
    return named if named is not None else mean_cells(timeline, Role.ADJACENT_TEMP)


def without_ripple(timeline: Timeline, room_c: FloatArray) -> FloatArray:
    """Room temperature averaged over the cycle of what switches, as the balance's storage sees it.

    The ripple moves no heat in or out of slow stores over whole cycles, but at the ends of a window that cuts a cycle
    its slope would look like a drift.
    """
    whole = timeline.start_s, timeline.end_s
    cycle = unit_cycle(timeline, *whole) or heater_cycle(timeline, *whole)
    width = round(cycle.period_s / (timeline.step_s * cell_factor(timeline))) if cycle else 0
    if not 1 < width < room_c.size // 2:
        return room_c
    smooth = np.asarray(uniform_filter1d(room_c, width))
    half = width // 2 + 1  # at the ends, where no whole cycle surrounds a cell, that of the nearest whole one
    return np.concatenate([np.full(half, smooth[half]), smooth[half:-half], np.full(half, smooth[-half - 1])])


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
    room_c = without_ripple(timeline, room_c)
    found = [(_neighbour(timeline, c.to), c) for c in conductances(session.room)]
    known = [(t, c) for t, c in found if t is not None]
    store = fast_store(session.room)
    return Drivers(
        start_s=float(timeline.grid_s[0]),
        step_s=timeline.step_s * cell_factor(timeline),
        room_c=room_c,
        neighbours=tuple(c.to for _, c in known),
        neighbours_c=tuple(t for t, _ in known),
        ua_w_per_k=np.array([c.ua_w_per_k for _, c in known]),
        ua_u_w_per_k=np.array([c.u_w_per_k for _, c in known]),
        c_j_per_k=store.c_j_per_k,
        c_u_j_per_k=store.u_j_per_k,
        radiant_w=float(np.mean(RADIANT_SHARE[session.heater_kind])) * _heater_w(timeline),
    )


def _heater_w(timeline: Timeline) -> float:
    """Mean power of the heaters over the log."""
    found = [total_power(timeline, role) for role in (Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER)]
    return float(sum(power.mean() for power in found if power is not None))
