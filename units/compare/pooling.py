"""Repeats of a unit as one figure, and which units can be told apart, by the budgets that their points carry."""

from __future__ import annotations

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
    shared_key: str | None
    contribution_w: float


@dataclass(frozen=True)
class _Budgeted:
    """A figure as `covariance_of` reads a point: what it shares with others, and all of its own u."""

    budget: tuple[_Line, ...]
    eer_budget: tuple[_Line, ...]
    capacity_u_w: float
    eer_u95: float | None
    k: float


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
    flat = [
        (key, figure)
        for key, found in figures.items()
        for figure in found
        if quantity == "capacity" or figure.eer is not None
    ]
    if not flat:
        return Together((), {}, np.zeros((0, 0)))
    joint = covariance_of([_budgeted(figure) for _, figure in flat], quantity)  # type: ignore[arg-type]
    values = np.array([figure.capacity_w if quantity == "capacity" else figure.eer for _, figure in flat])
    keys = tuple(dict.fromkeys(key for key, _ in flat))
    weights = np.zeros((len(keys), len(flat)))
    pooled = {}
    for n, key in enumerate(keys):
        rows = [i for i, (owner, _) in enumerate(flat) if owner == key]
        pooled[key] = pool(values[rows].tolist(), joint[np.ix_(rows, rows)])
        weights[n, rows] = pooled[key].weights
    covariance = weights @ joint @ weights.T
    np.fill_diagonal(covariance, [pooled[key].u ** 2 for key in keys])
    return Together(keys, pooled, covariance)


def _budgeted(figure: Figure) -> _Budgeted:
    """Return the figure's budget; a corrected figure keeps its point's shares, scaled as the figure was."""
    point = figure.point
    return _Budgeted(
        budget=_lines(point, "budget", figure.capacity_w, point.capacity_w),
        eer_budget=_lines(point, "eer_budget", figure.eer, point.eer_btu_per_wh),
        capacity_u_w=figure.capacity_u95_w / U95_PER_U,
        eer_u95=figure.eer_u95,
        k=U95_PER_U,
    )


def _lines(point: PointRow, name: str, shown: float | None, measured: float | None) -> tuple[_Line, ...]:
    """Return the lines that others may share; a key holds within a bench, where a plug is one plug."""
    factor = shown / measured if shown and measured else 1.0
    budget: list[dict[str, Any]] = point.detail.get(name) or []
    shared = [line for line in budget if line["shared_key"]]
    return tuple(_Line(f"{point.bench_id}:{line['shared_key']}", line["contribution_w"] * factor) for line in shared)
