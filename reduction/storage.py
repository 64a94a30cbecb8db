"""Heat that the room itself takes or gives: air and what follows it, slow mass, and how well the balance repeats."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import hypot, inf, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.draft import Draft
from reduction.envelope import conductances, fast_store
from reduction.loads import loads_of
from reduction.propagation import Input
from reduction.session import Role
from reduction.slow_mass import SlowMassRelease
from reduction.timeline import Timeline, end_values, group_cells, slope_over

FloatArray = NDArray[np.float64]

BLOCKS = 12
"""Blocks a window is cut into to see how well its balance repeats; each holds whole cycles of the heater."""
LEAST_BLOCKS = 4
SHORTEST_BLOCK_S = 120.0
SHORT_WINDOW_U = 0.01
"""Of the heat: repeatability of a window too short to show its own (common practice, no source)."""


@dataclass(frozen=True)
class Repeat:
    """Standard uncertainty of a mean balance from its own scatter, with degrees of freedom. [W]"""

    u_w: float
    dof: float
    how: str


def room_cells(draft: Draft) -> FloatArray:
    """Mean room temperature on the grid, the return air where there is no room sensor; shape (n,). [°C]"""
    role = Role.ROOM_TEMP if draft.series(Role.ROOM_TEMP) else Role.RETURN_TEMP
    return group_cells(draft.timeline, role)


def enter_storage(draft: Draft) -> None:
    """Enter −C·dT/dt from the least-squares slope of the mean room temperature.

    The slope's u is what the residuals leave, and how far the line departs from the change between the ends:
    on a curved course only the latter is what was stored.

    References
    ----------
    METHOD, storage: slope of a least-squares line; JCGM 100:2008, H.3 for the slope of a line.
    """
    cells = room_cells(draft)
    slope = slope_over(draft.timeline, cells, draft.start_s, draft.end_s, draft.cycle_s)
    smooth_s = draft.cycle_s or 300.0
    first, last = end_values(draft.timeline, cells, draft.start_s, draft.end_s, smooth_s)
    between = (last - first) / draft.length_s if isfinite(first) and isfinite(last) else slope.per_s
    independent = max(2.0, draft.length_s / max(2.0 * draft.cycle_s, 600.0))
    noise = slope.residual_rms * sqrt(12.0 / independent) / draft.length_s
    u = hypot(noise, (slope.per_s - between) / sqrt(3.0))
    if not isfinite(slope.per_s):
        return
    store = fast_store(draft.session.room)
    ledger = draft.ledger
    capacity = ledger.enter(
        Input("heat capacity of the room", store.c_j_per_k, store.u_j_per_k, "J/K", source=store.how,
              shared_key=f"room:{draft.room_key}:c", shape="rectangular" if store.assumed else "normal")
    )  # fmt: skip
    drift = ledger.enter(
        Input("slope of the room temperature", slope.per_s, u, "K/s", dof=max(1.0, independent - 1.0), evaluation="A",
              source="residuals of the line, and its departure from the change between the ends")
    )  # fmt: skip
    how = f"−C·dT/dt, {3600 * slope.per_s:+.3f} K/h; C {store.how}"
    ledger.add_term("storage", lambda x: -capacity(x) * drift(x), how)


def enter_slow_mass(draft: Draft, slow: SlowMassRelease) -> None:
    """Enter the heat that walls and furniture give while they follow a past change."""
    release = draft.ledger.enter(Input("slow mass", slow.value_w, slow.u_w, "W", source=slow.how))
    draft.ledger.add_term("slow mass", release, slow.how)


def enter_repeatability(draft: Draft, cut_w: float) -> None:
    """Enter what the scatter of the balance itself leaves in its mean, and the heat of a heater cycle cut in two."""
    repeat = repeatability(draft)
    quantity = draft.ledger.enter(
        Input("repeatability", 0.0, repeat.u_w, "W", dof=repeat.dof, evaluation="A", source=repeat.how)
    )
    draft.ledger.add_term("repeatability", quantity, repeat.how)
    if cut_w > 0.0:
        cut = draft.ledger.enter(
            Input("heater cycle cut by the window", 0.0, cut_w / sqrt(3.0), "W", shape="rectangular",
                  source=f"at most {cut_w:.0f} W by the phase left over")
        )  # fmt: skip
        draft.ledger.add_term("heater cycle cut by the window", cut, "no shift expected, only an uncertainty")


def repeatability(draft: Draft) -> Repeat:
    """Scatter of the balance over blocks of whole cycles about a line: a drift of capacity is no error of its mean.

    References
    ----------
    JCGM 100:2008, 4.2.3, on block means, which are nearly independent where samples are not (4.2.7).
    """
    blocks = _block_balance(draft)
    n = len(blocks)
    heat = float(np.mean(np.abs(blocks))) if n else 0.0
    if n < LEAST_BLOCKS:
        return Repeat(SHORT_WINDOW_U * heat, inf, "window too short to show its own scatter: 1 % of the heat")
    t = np.arange(n) - (n - 1) / 2.0
    residual = blocks - blocks.mean() - t * float(t @ blocks) / float(t @ t)
    spread = sqrt(float(residual @ residual) / (n - 2))
    return Repeat(spread / sqrt(n), float(n - 2), f"scatter of {n} blocks, {spread:.0f} W")


def _block_balance(draft: Draft) -> FloatArray:
    """Mean balance of each block without what is constant: loads + ΣUA·ΔT − C·ΔT/Δt, shape (blocks,). [W]"""
    edges = _block_edges(draft)
    if len(edges) < 2:
        return np.empty(0)
    timeline, room = draft.timeline, room_cells(draft)
    balance = np.zeros(len(timeline.grid_s))
    for what in ("heater", "other"):
        for load in loads_of(timeline, what, draft.start_s, draft.end_s):
            balance = balance + timeline.cells[load.series.key]
    for surface in conductances(draft.session.room):
        roles = (Role.OUTDOOR_TEMP,) if surface.to == "outdoor" else (Role.ADJACENT_TEMP,)
        outside = group_cells(timeline, *roles)
        if np.isfinite(outside).any():
            balance = balance + surface.ua_w_per_k * (outside - room)
    capacity = fast_store(draft.session.room).c_j_per_k
    smooth_s = draft.cycle_s or SHORTEST_BLOCK_S
    means = [_block_mean(timeline, balance, room, capacity, *pair, smooth_s) for pair in pairwise(edges.tolist())]
    return np.array([mean for mean in means if isfinite(mean)])


def _block_mean(
    timeline: Timeline,
    balance: FloatArray,
    room: FloatArray,
    capacity: float,
    first_s: float,
    last_s: float,
    smooth_s: float,
) -> float:
    inside = balance[(timeline.grid_s >= first_s) & (timeline.grid_s < last_s)]
    known = inside[np.isfinite(inside)]
    if not len(known):
        return float("nan")
    low, high = end_values(timeline, room, first_s, last_s, smooth_s)
    return float(known.mean()) - capacity * (high - low) / (last_s - first_s)


def _block_edges(draft: Draft) -> FloatArray:
    cycle = draft.cycle_s
    target = max(draft.length_s / BLOCKS, SHORTEST_BLOCK_S)
    if cycle:
        target = cycle * max(1.0, round(target / cycle))
    return np.arange(draft.start_s, draft.end_s + 0.01 * target, target)
