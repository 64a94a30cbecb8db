"""How well a balance repeats within its window: the scatter of its blocks, and a heater cycle cut in two."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import end_values, group_cells, means_over
from reduction.balance.draft import Draft
from reduction.balance.storage import room_cells
from reduction.room.envelope import conductances, fast_store
from reduction.session import Role
from reduction.uncertainty.propagation import Input
from reduction.windows.steadiness import block_edges

FloatArray = NDArray[np.float64]

MOST_BLOCKS = 16
"""Blocks a window is cut into; each holds whole cycles of what switches."""
LEAST_BLOCKS = 4
ENOUGH_FOR_STORAGE = 6
SHORTEST_BLOCK_S = 300.0
SHORT_WINDOW_U = 0.01
"""Of the heat: repeatability of a window too short to show its own (common practice, no source)."""


@dataclass(frozen=True)
class Repeat:
    """Standard uncertainty of a mean balance from its own scatter, with degrees of freedom. [W]"""

    u_w: float
    dof: float
    how: str


def enter_repeatability(draft: Draft) -> None:
    """Enter what the scatter of the balance itself leaves in its mean, and the heat of a heater cycle cut in two."""
    repeat = repeatability(draft)
    quantity = draft.ledger.enter(
        Input("repeatability", 0.0, repeat.u_w, "W", dof=repeat.dof, evaluation="A", source=repeat.how)
    )
    draft.ledger.add_term("repeatability", quantity, repeat.how)
    cut_w = draft.span.cut_w
    if cut_w > 0.0:
        cut = draft.ledger.enter(
            Input("heater cycle cut by the window", 0.0, cut_w / sqrt(3.0), "W", shape="rectangular",
                  source=f"at most {cut_w:.0f} W by the phase left over")
        )  # fmt: skip
        draft.ledger.add_term("heater cycle cut by the window", cut, "no shift expected, only an uncertainty")


def repeatability(draft: Draft) -> Repeat:
    """Scatter of the balance over blocks of whole cycles, about a line and the storage the blocks themselves show.

    A drift of the capacity is no error of its mean. What a block stores the next one gives back, by less than the
    room's whole heat capacity in so short a time: the coefficient is left free.

    References
    ----------
    JCGM 100:2008, 4.2.3, on block means, which are nearly independent where samples are not (4.2.7); residuals of a
    fit as H.3.2.
    """
    gain_w, slope = _blocks(draft)
    n = len(gain_w)
    if n < LEAST_BLOCKS:
        heat = float(np.mean(np.abs(gain_w))) if n else 0.0
        return Repeat(SHORT_WINDOW_U * heat, inf, "window too short to show its own scatter: 1 % of the heat")
    known = [np.ones(n), np.arange(n) - (n - 1) / 2.0]
    if n >= ENOUGH_FOR_STORAGE:
        known.append(slope / max(float(np.ptp(slope)), 1e-9))
    else:
        gain_w = gain_w - fast_store(draft.session.room).c_j_per_k * slope
    design = np.column_stack(known)
    fit, _, rank, _ = np.linalg.lstsq(design, gain_w, rcond=1e-6)
    residual = gain_w - design @ fit
    dof = n - int(rank)
    spread = sqrt(float(residual @ residual) / dof)
    return Repeat(spread / sqrt(n), float(dof), f"scatter of {n} blocks, {spread:.0f} W")


def _blocks(draft: Draft) -> tuple[FloatArray, FloatArray]:
    """Mean of loads + ΣUA·ΔT [W] and slope of the room [K/s] in each block that is known, shapes (blocks,)."""
    timeline, room = draft.timeline, room_cells(draft)
    edges = block_edges(draft.start_s, draft.end_s, draft.span.switching, MOST_BLOCKS, SHORTEST_BLOCK_S)
    heat = np.zeros(len(edges) - 1)
    for what in ("heater", "other"):
        for load in draft.loads(what):
            heat = heat + means_over(load.series, edges[:-1], edges[1:])
    gain = _envelope_gain(draft, room)
    found = []
    cells = pairwise(np.searchsorted(timeline.grid_s, edges).tolist())
    for heat_w, (first_s, last_s), (first, last) in zip(heat.tolist(), pairwise(edges.tolist()), cells, strict=True):
        inside = gain[first:last]
        known = inside[np.isfinite(inside)]
        low, high = end_values(timeline, room, first_s, last_s, draft.cycle_s or SHORTEST_BLOCK_S)
        if len(known):
            found.append((heat_w + float(known.mean()), (high - low) / (last_s - first_s)))
    table = np.array(found).reshape(-1, 2)
    table = table[np.isfinite(table).all(axis=1)]
    return table[:, 0], table[:, 1]


def _envelope_gain(draft: Draft, room: FloatArray) -> FloatArray:
    """ΣUA·(T_neighbour − T_room) on the grid over the surfaces whose neighbour is known, shape (n,). [W]"""
    gain = np.where(np.isfinite(room), 0.0, np.nan)
    for surface in conductances(draft.session.room):
        role = Role.OUTDOOR_TEMP if surface.to == "outdoor" else Role.ADJACENT_TEMP
        outside = group_cells(draft.timeline, role)
        if np.isfinite(outside).any():
            gain = gain + surface.ua_w_per_k * (outside - room)
    return gain
