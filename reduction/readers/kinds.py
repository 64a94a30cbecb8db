"""What one row of a column stands for: instant, held report, mean over an interval, counter, total, state."""

from __future__ import annotations

import numpy as np

from reduction.readers.headings import Heading
from reduction.readers.table import FloatArray, Guess
from reduction.session import SampleKind

_UNIFORM = 0.1  # share of steps that may differ from the usual one by more than a tenth, common practice
_SAMPLE = 20_000


def guess_kind(
    name: str, heading: Heading, quantity: str, time_s: FloatArray, values: FloatArray, reported: bool
) -> tuple[SampleKind, Guess]:
    """Propose what a row stands for, with the evidence.

    Parameters
    ----------
    time_s, values
        Increasing times [s] and values, both of shape (n,).
    reported
        Whether rows exist because something changed or was sent, as in an event log.
    """
    kind, because, sure = _kind(heading, quantity, time_s[:_SAMPLE], values[:_SAMPLE], reported)
    return kind, Guess("kind", kind.value, f"“{name}”: {because}", sure)


def _kind(
    heading: Heading, quantity: str, time_s: FloatArray, values: FloatArray, reported: bool
) -> tuple[SampleKind, str, float]:
    if quantity == "state":
        return SampleKind.STATE, "words such as on and off", 0.97
    if quantity == "energy":
        return _energy_kind(heading, values)
    if heading.statistic == "total":
        return SampleKind.TOTAL, "its heading says that a row is a total over the interval", 0.9
    if heading.statistic == "mean":
        return SampleKind.INTERVAL_MEAN, "its heading says that a row is a mean over the interval", 0.9
    if reported:
        return SampleKind.HELD, "reports at irregular times: a value holds until the next one", 0.9
    usual, uneven = spacing(time_s)
    if quantity == "power" and uneven > _UNIFORM:
        return SampleKind.HELD, f"power at uneven times ({uneven:.0%} of steps differ from {usual:.0f} s): it holds until the next row", 0.75  # fmt: skip
    return SampleKind.INSTANT, f"samples every {usual:.3g} s", 0.85 if uneven <= _UNIFORM else 0.7


def spacing(time_s: FloatArray) -> tuple[float, float]:
    """Return the usual step [s] and the share of steps that differ from it by more than a tenth."""
    steps = np.diff(time_s)
    if not len(steps):
        return 0.0, 0.0
    usual = float(np.median(steps))
    return usual, float(np.mean(np.abs(steps - usual) > 0.1 * usual + 0.5))


def _energy_kind(heading: Heading, values: FloatArray) -> tuple[SampleKind, str, float]:
    """Tell a counter, which almost never falls, from energy per row."""
    known = values[np.isfinite(values)]
    falls = float(np.mean(np.diff(known) < 0)) if len(known) > 1 else 0.0
    if heading.statistic == "total" and falls > 0:
        return SampleKind.TOTAL, "its heading says total, and rows rise and fall: energy per row", 0.9
    if falls <= max(0.02, 2.5 / max(len(known), 1)) and (
        len(known) < 2 or float(np.ptp(known)) > 0 or heading.statistic != "total"
    ):
        if heading.statistic == "total" and len(known) < 3:
            return SampleKind.TOTAL, "its heading says that a row is a total over the interval", 0.8
        return (
            SampleKind.COUNTER,
            f"energy that rises from {known[0]:g} to {known.max():g}: a counter" if len(known) else "energy",
            0.9,
        )
    return SampleKind.TOTAL, f"energy that falls in {falls:.0%} of its steps: a total per row", 0.8
