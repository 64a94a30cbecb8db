"""Which units can be told apart, by the errors that their pooled figures share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from reduction.compare import FloatArray, order
from reduction.pooling import SharedErrors

if TYPE_CHECKING:
    from collections.abc import Mapping
    from uuid import UUID

    from units.pooled import PooledFigure

Quantity = Literal["capacity", "eer"]
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Together:
    """One figure a unit, in the order of `keys`, with the covariance between the units; what is unknown is left out."""

    keys: tuple[UUID, ...]
    values: FloatArray
    covariance: FloatArray

    def groups(self, by: Mapping[UUID, float]) -> dict[UUID, str]:
        """Return a letter for each unit that `by` divides (its claim); units of one letter cannot be told apart."""
        rows = [i for i, key in enumerate(self.keys) if key in by]
        if len(rows) < 2:
            return {}
        scale = np.array([1.0 / by[self.keys[i]] for i in rows])
        values = scale * self.values[rows]
        ordered = order(values.tolist(), self.covariance[np.ix_(rows, rows)] * np.outer(scale, scale))
        return {self.keys[rows[i]]: LETTERS[min(n, len(LETTERS) - 1)] for n, group in enumerate(ordered) for i in group}


def together(figures: Mapping[UUID, PooledFigure | None], benches: Mapping[UUID, UUID], quantity: Quantity) -> Together:
    """Set pooled figures side by side, keeping what units share: the same plug, thermometer or room.

    A key of a shared error holds within a bench, where a plug is one plug.
    """
    known = {
        key: figure for key, figure in figures.items() if figure and getattr(figure, _NAMES[quantity][0]) is not None
    }
    value, u, shared = _NAMES[quantity]
    us = [getattr(figure, u) for figure in known.values()]
    shares = [
        {f"{benches[key]}:{name}": part for name, part in getattr(figure, shared).items()}
        for key, figure in known.items()
    ]
    covariance = SharedErrors.of(us, shares).covariance(us) if us else np.zeros((0, 0))
    return Together(tuple(known), np.array([getattr(figure, value) for figure in known.values()]), covariance)


_NAMES = {"capacity": ("capacity_w", "capacity_u_w", "shared"), "eer": ("eer", "eer_u", "eer_shared")}
