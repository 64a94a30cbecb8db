"""Which load hangs on which circuit: the 80 % practice, one heater to a circuit, the unit on one of its own."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

from reduction.documents.words import Document, Positive
from reduction.ground.tables import table


class Circuit(Document):
    """A branch circuit of the building."""

    name: str = ""
    rating_a: Positive = 15.0
    volts: Positive = 120.0

    @property
    def limit_a(self) -> float:
        """Current [A] one cord-and-plug load may draw."""
        return rule("one_cord_and_plug_load") * self.rating_a

    @property
    def limit_w(self) -> float:
        """Power [W] at that current.

        Examples
        --------
        >>> Circuit().limit_w, Circuit(rating_a=20).limit_w
        (1440.0, 1920.0)
        """
        return self.limit_a * self.volts


class CircuitLoad(Document):
    """Something to be plugged in; `alone` where nothing else may share its circuit."""

    name: str
    power_w: Positive
    alone: bool = True


class CircuitUse(Document):
    """One circuit with what hangs on it."""

    circuit: Circuit
    loads: tuple[CircuitLoad, ...]
    current_a: float
    breaker_a: float
    fits: bool


def rule(name: str) -> float:
    """Return a figure of `data/circuit_rules.csv` by its name."""
    return next(float(row["value"]) for row in table("circuit_rules") if row["rule"] == name)


def use_of(circuit: Circuit, loads: Sequence[CircuitLoad]) -> CircuitUse:
    """Return current, breaker that a continuous load asks for (125 %) and whether the circuit may carry it.

    References
    ----------
    National Electrical Code (NFPA 70) 210.23(A)(1), 210.19(A)(1), 210.20(A), as `data/circuit_rules.csv` cites them.

    Examples
    --------
    >>> use = use_of(Circuit(), [CircuitLoad(name="heater", power_w=1500)])
    >>> use.current_a, use.breaker_a, use.fits
    (12.5, 15.625, False)
    """
    current = sum(load.power_w for load in loads) / circuit.volts
    fits = current <= circuit.limit_a + 1e-9
    breaker = rule("continuous_load") * current
    return CircuitUse(circuit=circuit, loads=tuple(loads), current_a=current, breaker_a=breaker, fits=fits)


def assign(
    loads: Sequence[CircuitLoad], circuits: Sequence[Circuit]
) -> tuple[tuple[CircuitUse, ...], tuple[CircuitLoad, ...]]:
    """Hang loads on circuits, the largest on the smallest circuit that carries it; return uses and what found no place.

    Examples
    --------
    >>> heat = [CircuitLoad(name=f"heater {n}", power_w=1150) for n in (1, 2)]
    >>> unit = CircuitLoad(name="unit", power_w=700)
    >>> len(assign([*heat, unit], [Circuit()])[1])
    2
    """
    hung: list[list[CircuitLoad]] = [[] for _ in circuits]
    left: list[CircuitLoad] = []
    for load in sorted(loads, key=lambda each: -each.power_w):
        places = [n for n, circuit in enumerate(circuits) if _may_hang(load, hung[n], circuit)]
        if places:
            hung[min(places, key=lambda n: circuits[n].limit_w)].append(load)
        else:
            left.append(load)
    uses = tuple(use_of(circuit, on_it) for circuit, on_it in zip(circuits, hung, strict=True))
    return uses, tuple(left)


def heaters_needed(heat_w: float, circuit: Circuit) -> int:
    """Return how many heaters, each on a circuit like this one, give a heat [W].

    Examples
    --------
    >>> heaters_needed(2300.0, Circuit()), heaters_needed(4100.0, Circuit())
    (2, 3)
    """
    return ceil(heat_w / circuit.limit_w)


def _may_hang(load: CircuitLoad, others: Sequence[CircuitLoad], circuit: Circuit) -> bool:
    if others and (load.alone or any(other.alone for other in others)):
        return False
    return use_of(circuit, [*others, load]).fits
