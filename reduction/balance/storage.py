"""Heat that the room itself takes or gives: air and what follows it, and slow mass."""

from __future__ import annotations

from math import hypot, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Slope, end_values, group_cells, slope_over
from reduction.balance.draft import Draft
from reduction.room.envelope import fast_store
from reduction.room.slow_mass import SlowMassRelease
from reduction.session import Role
from reduction.uncertainty.ledger import Quantity, total
from reduction.uncertainty.propagation import Input
from reduction.uncertainty.repeatability import slope_of

FloatArray = NDArray[np.float64]

LEAST_DOF = 3.0  # half of the slope's u is judged from the course, not counted from samples
CALM_S = 600.0  # the shortest span that counts as a reading of its own beside a heater's cycles
SMOOTH_S = 300.0  # at both ends, where nothing switches


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
    Method §1, storage: slope of a least-squares line; JCGM 100:2008, H.3 for the slope of a line.
    """
    cells = room_cells(draft)
    slope = slope_over(draft.timeline, cells, draft.start_s, draft.end_s, draft.cycle_s)
    smooth_s = draft.cycle_s or SMOOTH_S
    first, last = end_values(draft.timeline, cells, draft.start_s, draft.end_s, smooth_s)
    between = (last - first) / draft.span.length_s if isfinite(first) and isfinite(last) else slope.per_s
    if not isfinite(slope.per_s):
        return
    noise, dof = _slope_noise(draft, cells, slope)
    u = hypot(noise, (slope.per_s - between) / sqrt(3.0))
    store = fast_store(draft.session.room)
    ledger = draft.ledger
    capacity = ledger.enter(
        Input("heat capacity of the room", store.c_j_per_k, store.u_j_per_k, "J/K", source=store.how,
              shared_key=f"room:{draft.room_key}:c", shape="rectangular" if store.assumed else "normal")
    )  # fmt: skip
    drift = ledger.enter(
        Input("slope of the room temperature", slope.per_s, u, "K/s", evaluation="A",
              dof=max(LEAST_DOF, dof),
              source="residuals of the line, and its departure from the change between the ends")
    )  # fmt: skip
    how = f"−C·dT/dt, {3600 * slope.per_s:+.3f} K/h; C {store.how}"
    ledger.add_term("storage", lambda x: -capacity(x) * drift(x), how)


def _slope_noise(draft: Draft, cells: FloatArray, slope: Slope) -> tuple[float, float]:
    """Standard uncertainty [K/s] and degrees of freedom that the residuals of the line leave its slope.

    What switches repeats by the cycle, so two cycles count as one reading; where nothing does, the samples themselves
    show how long they remember.
    """
    if draft.cycle_s > 0.0:
        independent = max(2.0, draft.span.length_s / max(2.0 * draft.cycle_s, CALM_S))
        return slope.residual_rms * sqrt(12.0 / independent) / draft.span.length_s, independent - 1.0
    grid = draft.timeline.grid_s
    known = (grid >= draft.start_s) & (grid < draft.end_s) & np.isfinite(cells)
    _, noise, dof = slope_of(grid[known], cells[known])
    return noise, dof


def enter_slow_mass(draft: Draft, slow: SlowMassRelease) -> None:
    """Enter the heat that walls and furniture give while they follow a past change."""
    own_u = 0.0 if slow.shares else slow.u_w
    parts = [draft.ledger.enter(Input("slow mass", slow.value_w, own_u, "W", source=slow.how))]
    known = "characterised" if draft.session.room.slow_mass else "not characterised: bands by volume and construction"
    for share in slow.shares:
        source = known if (share.shared_key or "").startswith("room:") else "the log's own"
        size, key = abs(share.contribution_w), share.shared_key
        part = draft.ledger.enter(Input(f"slow mass: {share.name}", 0.0, size, "W", shared_key=key, source=source))
        parts.append(_signed(part, share.contribution_w))
    draft.ledger.add_term("slow mass", total(*parts), slow.how)


def _signed(quantity: Quantity, contribution: float) -> Quantity:
    return quantity if contribution >= 0.0 else lambda x: -quantity(x)
