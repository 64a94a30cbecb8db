"""Which channels are which electric load: a plug that logs power and counts energy is one load, not two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot, isfinite

from reduction.align.timeline import Series, Timeline, mean_over
from reduction.session import Finding, Role, Severity
from reduction.uncertainty.readings import power_reading_u

SAME_LOAD = 0.05
"""Relative agreement that makes a power log and a counter without a common plug one load; common practice."""
DISAGREES = 3.0
"""Standard uncertainties by which two records of one load may differ before it is said."""
DISAGREES_PART = 0.01

POWER_OF = {
    "unit": (Role.UNIT_POWER,),
    "heater": (Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER),
    "other": (Role.OTHER_POWER,),
}
ENERGY_OF = {"unit": (Role.UNIT_ENERGY,), "heater": (Role.HEATER_ENERGY,), "other": (Role.OTHER_ENERGY,)}


@dataclass(frozen=True)
class Load:
    """One electric load in a window: the record that is used, and the other one where there are two."""

    series: Series
    mean_w: float
    u_w: float
    other: Series | None = None
    other_w: float = float("nan")
    other_u_w: float = 0.0

    @property
    def finding(self) -> Finding | None:
        """What to say where the two records of this load disagree."""
        if self.other is None or not isfinite(self.other_w):
            return None
        apart = abs(self.mean_w - self.other_w)
        if apart <= DISAGREES * hypot(self.u_w, self.other_u_w) + DISAGREES_PART * abs(self.mean_w):
            return None
        return Finding(
            code="energy_disagrees_with_power",
            severity=Severity.WARNING,
            sentence=f"{self.series.name} gives {self.mean_w:.1f} W and {self.other.name} {self.other_w:.1f} W for the "
            f"same load, {apart:.1f} W apart where {hypot(self.u_w, self.other_u_w):.1f} W would be usual.",
            subject=self.series.key,
            remedy="Look for gaps, resets or a wrong unit in either; leave the worse one out.",
        )


def loads_of(timeline: Timeline, what: str, start_s: float, end_s: float) -> tuple[Load, ...]:
    """Loads of one kind in a window, each by the better of its records.

    Parameters
    ----------
    timeline
        All channels.
    what
        "unit", "heater" or "other".
    start_s, end_s
        The window, Unix time. [s]

    Returns
    -------
    tuple of Load
        A counter belongs to the power log with the same instrument or place; failing that, to the only one, or to
        one that it agrees with.
    """
    powers, energies = timeline.of(*POWER_OF[what]), timeline.of(*ENERGY_OF[what])
    pairs = _paired(powers, energies, what, start_s, end_s)
    return tuple(_better(pair, start_s, end_s) for pair in pairs)


def _paired(
    powers: Sequence[Series], energies: Sequence[Series], what: str, start_s: float, end_s: float
) -> Iterator[tuple[Series, ...]]:
    free = list(energies)
    for power in powers:
        twin = next((e for e in free if _same_plug(power, e)), None)
        if twin is None and len(powers) == len(free) == 1 and what == "unit":
            twin = free[0]
        if twin is None:
            twin = next((e for e in free if _agree(power, e, start_s, end_s)), None)
        if twin is not None:
            free.remove(twin)
        yield (power,) if twin is None else (power, twin)
    yield from ((energy,) for energy in free)


def _same_plug(power: Series, energy: Series) -> bool:
    if power.instrument and energy.instrument:
        return power.instrument.id == energy.instrument.id
    return bool(power.place) and power.place == energy.place


def _agree(power: Series, energy: Series, start_s: float, end_s: float) -> bool:
    if power.instrument and energy.instrument:
        return False
    a, b = (mean_over(s, start_s, end_s).value for s in (power, energy))
    return isfinite(a) and isfinite(b) and abs(a - b) <= SAME_LOAD * abs(a)


def _better(pair: tuple[Series, ...], start_s: float, end_s: float) -> Load:
    means = [mean_over(series, start_s, end_s) for series in pair]
    us = [power_reading_u(series, mean, end_s - start_s) for series, mean in zip(pair, means, strict=True)]
    order = sorted(range(len(pair)), key=lambda i: (not isfinite(means[i].value), us[i]))
    first = order[0]
    if len(pair) == 1:
        return Load(pair[0], means[0].value, us[0])
    second = order[1]
    return Load(pair[first], means[first].value, us[first], pair[second], means[second].value, us[second])
