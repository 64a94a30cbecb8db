"""What a point offers to a correction: figures with what they share with other points, its condition, its limit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np

from reduction.balance.coil import CoilTemp, working_wet_bulb_c
from reduction.ground.constants import BTU_PER_H_PER_W, STANDARD_PRESSURE_PA
from reduction.session import Limit, Measured, Point, UnitKind

Quantity = Literal["capacity", "power", "eer"]
Contribution = tuple[str | None, float]  # the key of an error that others may share, and what it contributes


@dataclass(frozen=True)
class RatedPoint:
    """What a point offers to a correction: figures with standard uncertainties, its condition, what limited it.

    `capacity` is the total; where only the sensible part was measured, with what may have condensed unseen added and
    its doubt in u. `outdoor_temp_c` is at the condenser inlet where that is measured. `common` holds, by the key of an
    error that other points may share, its signed standard contribution as a share of the figure. [1]
    """

    kind: UnitKind
    capacity: Measured
    power: Measured
    room_temp_c: Measured
    room_wet_bulb_c: Measured | None
    outdoor_temp_c: Measured
    limit: Limit
    coil: CoilTemp | None = None
    supply_temp_c: float | None = None
    pressure_pa: float = STANDARD_PRESSURE_PA
    common: Mapping[Quantity, Mapping[str, float]] = field(default_factory=dict)

    @cached_property
    def wet_bulb(self) -> Measured:
        """Wet bulb to enter a map with: interval of the dry-coil value and the sensors' doubt in one u."""
        known = self.room_wet_bulb_c
        low, high = working_wet_bulb_c(
            self.room_temp_c.value, known.value if known else None, self.coil, self.pressure_pa
        )
        spread = (high - low) / np.sqrt(12.0)
        return Measured(value=0.5 * (low + high), u=float(np.hypot(spread, known.u if known else 0.0)))

    def figure(self, quantity: Quantity) -> Measured:
        """Return the capacity [W], power [W] or EER [Btu/(W·h)]."""
        if quantity != "eer":
            return self.capacity if quantity == "capacity" else self.power
        eer = BTU_PER_H_PER_W * self.capacity.value / self.power.value
        relative = np.hypot(self.capacity.u / self.capacity.value, self.power.u / self.power.value)
        return Measured(value=eer, u=float(eer * relative))


def common_errors(
    capacity_w: float, budget: Iterable[Contribution], eer: float | None, eer_budget: Iterable[Contribution]
) -> dict[Quantity, dict[str, float]]:
    """Return for `RatedPoint.common` what the budgets of a point share with other points.

    Parameters
    ----------
    capacity_w, eer
        The figures that the budgets are of; power follows from both, ln P = ln Q − ln EER. [W, Btu/(W·h)]
    budget, eer_budget
        The shared key and the contribution of each line. [W, Btu/(W·h)]

    References
    ----------
    JCGM 100:2008, F.1.2.3: inputs common to two results correlate them.
    """
    of_capacity, of_eer = _by_key(budget, capacity_w), _by_key(eer_budget, eer or 0.0)
    keys = of_capacity.keys() | of_eer.keys()
    of_power = {key: of_capacity.get(key, 0.0) - of_eer.get(key, 0.0) for key in keys} if of_eer else {}
    return {"capacity": of_capacity, "power": of_power, "eer": of_eer}


def shared_errors(point: Point, capacity_w: float) -> dict[Quantity, dict[str, float]]:
    """Return `common_errors` of a point whose capacity is taken as given here [W]."""
    budget, eer_budget = (
        [(line.shared_key, line.contribution_w) for line in lines] for lines in (point.budget, point.eer_budget)
    )
    return common_errors(capacity_w, budget, point.eer_btu_per_wh, eer_budget)


def _by_key(budget: Iterable[Contribution], value: float) -> dict[str, float]:
    found: dict[str, float] = {}
    for key, contribution in budget if value else ():
        if key is not None:
            found[key] = found.get(key, 0.0) + contribution / value
    return found
