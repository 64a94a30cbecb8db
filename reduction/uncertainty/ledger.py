"""The balance of one window while it is drawn up: inputs with their errors, terms as functions of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from reduction.uncertainty.propagation import Input

FloatArray = NDArray[np.float64]
Quantity = Callable[[FloatArray], FloatArray]
"""Maps inputs, shape (k, n), to one quantity, shape (n,)."""


@dataclass(frozen=True)
class TermModel:
    """One term of the balance: positive adds to the capacity. `how` says where it comes from."""

    name: str
    quantity: Quantity
    how: str


@dataclass
class Ledger:
    """Inputs and terms in the order they were entered; the measurement model is their sum.

    An input whose `shared_key` is already there is the same error and is not entered twice.
    """

    inputs: list[Input] = field(default_factory=list)
    terms: list[TermModel] = field(default_factory=list)
    _rows: dict[str, int] = field(default_factory=dict)

    def enter(self, item: Input) -> Quantity:
        """Enter an input and return the quantity that reads it."""
        row = self._rows.get(item.shared_key, -1) if item.shared_key else -1
        if row < 0:
            row = len(self.inputs)
            self.inputs.append(item)
            if item.shared_key:
                self._rows[item.shared_key] = row
        return itemgetter(row)

    def add_term(self, name: str, quantity: Quantity, how: str) -> None:
        """Add a term to the balance."""
        self.terms.append(TermModel(name, quantity, how))

    def capacity(self, x: FloatArray) -> FloatArray:
        """Sum of the terms [W], shape (n,)."""
        return np.asarray(sum((term.quantity(x) for term in self.terms), np.zeros(x.shape[1])))

    def without_u(self, *names: str) -> list[Input]:
        """Return the inputs with the named ones taken as exact, to see what they cost."""
        return [replace(item, u=0.0) if item.name in names else item for item in self.inputs]


def constant(value: float) -> Quantity:
    """Return a quantity that is the same whatever the inputs."""
    return lambda x: np.full(x.shape[1], value)


def total(*quantities: Quantity) -> Quantity:
    """Return the sum of quantities."""
    return lambda x: np.asarray(sum((q(x) for q in quantities), np.zeros(x.shape[1])))


def mean(*quantities: Quantity) -> Quantity:
    """Return the mean of quantities."""
    summed = total(*quantities)
    return lambda x: summed(x) / len(quantities)
