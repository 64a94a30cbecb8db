"""Repeats of a unit as one figure, and which units can be told apart, by the budgets that their points carry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from reduction.compare import FloatArray, Pooled, covariance_of, order, pool

if TYPE_CHECKING:
    from uuid import UUID

    from units.compare.comparison import Figure
    from units.compare.points import PointRow

Quantity = Literal["capacity", "eer"]
U95_PER_U = 2.0  # k of a pooled figure: its degrees of freedom are many; JCGM 100, G.6.6
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class _Line:
    shared_key: str
    contribution_w: float


@dataclass(frozen=True)
class _Budgeted:
    """A figure as `covariance_of` reads a point's capacity: what it shares with others, and all of its own u."""

    budget: tuple[_Line, ...]
    capacity_u_w: float


@dataclass(frozen=True)
class Together:
    """One figure a unit, in the order of `keys`, with the covariance between the units; what is unknown is left out."""

    keys: tuple[UUID, ...]
    pooled: dict[UUID, Pooled]
    covariance: FloatArray

    def groups(self, by: dict[UUID, float]) -> dict[UUID, str]:
        """Return a letter for each unit that `by` divides (its claim); units of one letter cannot be told apart."""
        rows = [i for i, key in enumerate(self.keys) if key in by]
        if len(rows) < 2:
            return {}
        scale = np.array([1.0 / by[self.keys[i]] for i in rows])
        values = scale * np.array([self.pooled[self.keys[i]].value for i in rows])
        ordered = order(values.tolist(), self.covariance[np.ix_(rows, rows)] * np.outer(scale, scale))
        return {self.keys[rows[i]]: LETTERS[min(n, len(LETTERS) - 1)] for n, group in enumerate(ordered) for i in group}


def together(figures: dict[UUID, Sequence[Figure]], quantity: Quantity) -> Together:
    """Pool each unit's figures, keeping what units share: the same plug, thermometer or room."""
    pooled, carried = {}, []
    for key, found in figures.items():
        known = [figure for figure in found if quantity == "capacity" or figure.eer is not None]
        if known:
            budgets = [_budgeted(figure, quantity) for figure in known]
            values = [figure.capacity_w if quantity == "capacity" else figure.eer for figure in known]
            pooled[key] = pool(values, covariance_of(budgets))  # type: ignore[arg-type]
            carried.append(_weighted(budgets, pooled[key]))
    return Together(tuple(pooled), pooled, covariance_of(carried) if carried else np.zeros((0, 0)))  # type: ignore[arg-type]


def _weighted(budgets: list[_Budgeted], pooled: Pooled) -> _Budgeted:
    """Return the pooled figure's budget: of each shared error the weighted sum of what the repeats carry."""
    shared: Counter[str] = Counter()
    for budget, weight in zip(budgets, pooled.weights, strict=True):
        for line in budget.budget:
            shared[line.shared_key] += weight * line.contribution_w
    return _Budgeted(tuple(_Line(key, value) for key, value in shared.items()), pooled.u)


def _budgeted(figure: Figure, quantity: Quantity) -> _Budgeted:
    """Return the figure's budget; a corrected figure keeps its point's shares, scaled as the figure was."""
    point = figure.point
    if quantity == "capacity":
        lines = _lines(point, "budget", figure.capacity_w, point.capacity_w)
        return _Budgeted(lines, figure.capacity_u95_w / U95_PER_U)
    lines = _lines(point, "eer_budget", figure.eer, point.eer_btu_per_wh)
    return _Budgeted(lines, (figure.eer_u95 or 0.0) / U95_PER_U)


def _lines(point: PointRow, name: str, shown: float | None, measured: float | None) -> tuple[_Line, ...]:
    """Return the lines that others may share; a key holds within a bench, where a plug is one plug."""
    factor = shown / measured if shown and measured else 1.0
    budget: list[dict[str, Any]] = point.detail.get(name) or []
    shared = [line for line in budget if line["shared_key"]]
    return tuple(_Line(f"{point.bench_id}:{line['shared_key']}", line["contribution_w"] * factor) for line in shared)
