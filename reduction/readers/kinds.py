"""What one row of a column stands for: instant, held report, mean over an interval, counter, total, state."""

from __future__ import annotations

import numpy as np

from reduction.readers.headings import Heading
from reduction.readers.table import FloatArray, Guess
from reduction.readers.vocabulary import to_si
from reduction.session import SampleKind

# Common practice, no source: shares of steps that may be odd, and what counts as a reset rather than a dip.
_UNEVEN = 0.1
_FALLS = 0.02
_RESET_TO = 0.1
_SAMPLE = 20_000
_MOST_W = 50_000.0  # more than any heater or room unit on a household circuit

Kind = tuple[SampleKind, str, float]


def guess_kind(
    name: str, heading: Heading, unit: tuple[str, str], time_s: FloatArray, values: FloatArray, reported: bool
) -> tuple[SampleKind, Guess]:
    """Propose what a row stands for, with the evidence.

    Parameters
    ----------
    unit
        Quantity and symbol of its unit.
    time_s, values
        Increasing times [s] and values, both of shape (n,).
    reported
        Whether rows exist because something changed or was sent, as in an event log.
    """
    quantity, symbol = unit
    said = _said(heading, quantity, values[:_SAMPLE])
    if (
        said
        and said[0] == SampleKind.TOTAL
        and (w := _as_power_w(symbol, time_s[:_SAMPLE], values[:_SAMPLE])) > _MOST_W
    ):
        said = SampleKind.COUNTER, f"as energy per row it would be {w / 1000:,.0f} kW: a counter", 0.8
    kind, because, sure = said or _by_spacing(quantity, time_s[:_SAMPLE], reported)
    return kind, Guess("kind", kind.value, f"“{name}”: {because}", sure)


def _as_power_w(symbol: str, time_s: FloatArray, values: FloatArray) -> float:
    """Return the power that a row's energy would be, 0 where that cannot be told. [W]"""
    known = values[np.isfinite(values)]
    step_s = spacing(time_s)[0]
    if not len(known) or not step_s:
        return 0.0
    joules, si = to_si(np.array([float(np.median(known))]), symbol)
    return float(joules[0]) / step_s if si == "J" else 0.0


def _said(heading: Heading, quantity: str, values: FloatArray) -> Kind | None:
    """Return the kind that words, or what energy does, already settle."""
    if quantity == "state":
        return SampleKind.STATE, "words such as on and off", 0.97
    if quantity == "energy":
        return _energy(heading, values)
    if heading.statistic == "total":
        return SampleKind.TOTAL, "its heading says that a row is a total over the interval", 0.9
    if heading.statistic == "mean":
        return SampleKind.INTERVAL_MEAN, "its heading says that a row is a mean over the interval", 0.9
    return None


def _by_spacing(quantity: str, time_s: FloatArray, reported: bool) -> Kind:
    if reported:
        return SampleKind.HELD, "reports come when something changes: a value holds until the next one", 0.9
    usual, uneven = spacing(time_s)
    if quantity == "power" and uneven > _UNEVEN:
        because = f"power at uneven times, {uneven:.0%} of steps differ from {usual:.3g} s: it holds until the next row"
        return SampleKind.HELD, because, 0.75
    return SampleKind.INSTANT, f"samples every {usual:.3g} s", 0.85 if uneven <= _UNEVEN else 0.7


def spacing(time_s: FloatArray) -> tuple[float, float]:
    """Return the usual step [s] and the share of steps that differ from it by more than a tenth.

    Examples
    --------
    >>> spacing(np.array([0.0, 10.0, 20.0, 50.0, 60.0]))
    (10.0, 0.25)
    """
    steps = np.diff(time_s)
    if not len(steps):
        return 0.0, 0.0
    if steps.max() == steps.min():
        return float(steps[0]), 0.0
    usual = float(np.median(steps))
    return usual, float(np.mean(np.abs(steps - usual) > 0.1 * usual + 0.5))


def _energy(heading: Heading, values: FloatArray) -> Kind:
    """Tell a counter, which falls only when it is reset, from energy per row, which rises and falls."""
    known = values[np.isfinite(values)]
    total = heading.statistic == "total"
    if total and len(known) < 3:
        return SampleKind.TOTAL, "its heading says that a row is a total over the interval", 0.8
    if len(known) < 2:
        return SampleKind.COUNTER, "energy, usually a counter", 0.5
    down = np.diff(known) < 0
    resets = down & (known[1:] <= _RESET_TO * known[:-1])
    dips = int(down.sum() - resets.sum())
    if dips <= _FALLS * len(known) and resets.sum() <= max(3, _FALLS * len(known)) and (not total or np.ptp(known) > 0):
        because = (
            f"energy that rises from {known[0]:g} to {known.max():g} and falls {int(down.sum())} time(s): a counter"
        )
        return SampleKind.COUNTER, because, 0.9
    return SampleKind.TOTAL, f"energy that falls in {down.mean():.0%} of its steps: a total per row", 0.8
