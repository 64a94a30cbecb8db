"""Runs of one unit at like conditions as sets of repeats: mean, spread, and each run judged by those before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reduction.compare import Control, comparability, control_chart
from reduction.session import Measured


@dataclass(frozen=True, eq=False)
class RepeatSet:
    """Runs that may be compared as they are: which ones, in order of time; their mean, sample spread and control."""

    members: tuple[int, ...]
    mean: float
    spread: float
    control: Control


def repeat_sets(
    conditions: Sequence[Mapping[str, Measured]], values: Sequence[float], u: Sequence[float]
) -> tuple[RepeatSet, ...]:
    """Return every set of two or more runs at like conditions, those of most runs first.

    Parameters
    ----------
    conditions, values, u
        One each for a run, in order of time. A run joins the first set whose first run it may be compared with.

    References
    ----------
    Bands: `data/comparability_bands.csv`; limits: `compare.control_chart`.

    Examples
    --------
    >>> cool, hot = ({"outdoor_temp_c": Measured(value=t, u=0.1)} for t in (27.0, 35.0))
    >>> found = repeat_sets([hot, cool, hot], [2400.0, 2600.0, 2410.0], [5.0] * 3)
    >>> [(each.members, each.mean) for each in found]
    [((0, 2), 2405.0)]
    """
    sets: list[list[int]] = []
    for n, condition in enumerate(conditions):
        home = next((each for each in sets if comparability(conditions[each[0]], condition).comparable), None)
        if home is None:
            sets.append([n])
        else:
            home.append(n)
    repeated = sorted((each for each in sets if len(each) > 1), key=lambda each: -len(each))
    return tuple(_set(each, np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)) for each in repeated)


def _set(members: list[int], values: np.ndarray, u: np.ndarray) -> RepeatSet:
    own = values[members]
    judged = control_chart(own.tolist(), u[members].tolist())
    return RepeatSet(tuple(members), float(own.mean()), float(own.std(ddof=1)), judged)
