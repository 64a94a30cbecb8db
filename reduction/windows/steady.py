"""Windows: the longest steady ones proposed, and any given one judged, each with its evidence.

Both ends of a window are moved to the same phase of the heater's cycle. The cycles of a unit on its own thermostat
are left alone in a window given by hand, since what was delivered in that time is what is measured there; windows
that the program proposes hold whole cycles of the unit.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline, group_mean
from reduction.session import Evidence, Finding, Role, Session, Severity, Window, WindowResult
from reduction.windows.cycles import Cycle, cycles_in, cycles_within, heater_cycle, phase_bias_w, snapped, unit_cycle
from reduction.windows.disturbances import Disturbance, disturbances
from reduction.windows.plateaus import power_steps
from reduction.windows.steadiness import (
    OFF_POWER_W,
    Blocks,
    Limits,
    block_edges,
    blocks_of,
    default_limits,
    least_known,
    statistics,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_BLOCKS = 720  # in the search; all pairs of them are looked at
MOST_PROPOSED = 12
POWER = (Role.UNIT_POWER,)


def steady_windows(
    timeline: Timeline, limits: Limits | None = None, session: Session | None = None
) -> tuple[WindowResult, ...]:
    """Propose the longest steady windows that do not overlap.

    Parameters
    ----------
    timeline
        Its settings give the shortest window.
    limits
        By default those of `data/steady_tolerances.csv`.
    session
        For its declared events.

    Returns
    -------
    tuple
        In order of time, each steady by every limit, with the evidence; empty where nothing is steady.

    References
    ----------
    Structure after the steady-state tests of the room calorimeter (ISO 5151, from memory): equilibrium first, then
    a recorded period in which each quantity keeps its permissible deviation.
    """
    limits = limits or default_limits()
    events = session.events if session else ()
    found = disturbances(timeline, events)
    whole = timeline.start_s, timeline.end_s
    unit, heater = unit_cycle(timeline, *whole), heater_cycle(timeline, *whole)
    blocks = blocks_of(timeline, block_edges(*whole, unit or heater, MOST_BLOCKS))
    spans = _longest(_allowed(timeline, blocks, limits, found, cycles_itself=unit is not None), blocks.edges_s)
    judged = (_judged(timeline, start, end, limits, found, proposed=True) for start, end in spans)
    steady = [result for result in judged if result.steady]
    cooling = [result for result in steady if _unit_runs(timeline, result)]
    chosen = cooling if cooling else steady
    return tuple(result.model_copy(update={"label": f"steady {n}"}) for n, result in enumerate(chosen, start=1))


def _unit_runs(timeline: Timeline, window: WindowResult) -> bool:
    power = group_mean(timeline.of(*POWER), window.start.timestamp(), window.end.timestamp()).value
    return not power <= OFF_POWER_W


def judge_window(
    timeline: Timeline, window: Window, limits: Limits | None = None, session: Session | None = None
) -> WindowResult:
    """Judge a window given by hand: ends snapped to the heater's cycle, evidence for and against its steadiness.

    The ends move by at most one heater cycle, and only where the window asks for it; what was asked is kept. A
    window that is not steady is used all the same, with the reason the tester gave.
    """
    limits = limits or default_limits()
    events = session.events if session else ()
    start, end = window.start_utc.timestamp(), window.end_utc.timestamp()
    found = disturbances(timeline, events)
    heater, _ = _cycles(timeline, start, end)
    if heater and window.snap_to_cycles:
        start, end = _snapped_with_care(timeline, heater, start, end, found)
    result = _judged(timeline, start, end, limits, found, label=window.label, proposed=False)
    changed = (start, end) != (window.start_utc.timestamp(), window.end_utc.timestamp())
    return result.model_copy(
        update={
            "asked_start": window.start_utc if changed else None,
            "asked_end": window.end_utc if changed else None,
            "reason": window.reason,
        }
    )


def _snapped_with_care(
    timeline: Timeline, cycle: Cycle, start_s: float, end_s: float, found: tuple[Disturbance, ...]
) -> tuple[float, float]:
    """Ends snapped to the nearest phase, or inward where that would leave the data, meet a disturbance or a step."""
    first, last = snapped(cycle, start_s, end_s)
    added = [(first, start_s), (end_s, last)]
    spoiled = any(
        low < high and (any(each.touches(low, high) for each in found) or _steps_inside(timeline, low, high))
        for low, high in added
    )
    if spoiled or first < timeline.start_s or last > timeline.end_s:
        return snapped(cycle, start_s, end_s, inward=True)
    return first, last


def _cycles(timeline: Timeline, start_s: float, end_s: float) -> tuple[Cycle | None, Cycle | None]:
    """The heater's and the unit's cycle, where they go on in the window."""
    around = _around(timeline, start_s, end_s)
    heater, unit = heater_cycle(timeline, *around), unit_cycle(timeline, *around)
    return cycles_within(heater, start_s, end_s), cycles_within(unit, start_s, end_s)


def _around(timeline: Timeline, start_s: float, end_s: float) -> tuple[float, float]:
    """The window with some of its neighbourhood, in which its cycle shows: at least an hour on either side."""
    margin = max(3600.0, 0.5 * (end_s - start_s))
    return max(timeline.start_s, start_s - margin), min(timeline.end_s, end_s + margin)


def _allowed(
    timeline: Timeline, blocks: Blocks, limits: Limits, found: tuple[Disturbance, ...], *, cycles_itself: bool
) -> BoolArray:
    """Which pairs of blocks i…j make a steady window, shape (n, n)."""
    edges = blocks.edges_s
    bad = least_known(timeline, edges) < 1 - 2 * limits["missing_fraction"].limit / 100
    for name in ("room_temp", "unit_power"):
        if name in blocks.means:
            bad |= ~np.isfinite(blocks.means[name])
    for each in found:
        bad |= (edges[:-1] < each.end_s) & (edges[1:] > each.start_s)
    count = np.concatenate([[0], np.cumsum(bad)])
    allowed = (count[None, 1:] - count[:-1, None]) == 0
    allowed &= edges[None, 1:] - edges[:-1, None] >= timeline.settings.min_window_s
    if not cycles_itself:
        at = timeline.grid_s[power_steps(timeline)]
        before = np.searchsorted(at, edges[:-1] + timeline.step_s, side="right")
        allowed &= np.searchsorted(at, edges[1:] - timeline.step_s)[None, :] <= before[:, None]
    kept = (table <= limits[name].limit for name, table in statistics(blocks).items())
    return reduce(np.logical_and, kept, np.triu(allowed))


def _longest(allowed: BoolArray, edges: FloatArray) -> list[tuple[float, float]]:
    """The longest allowed window, then the longest that does not overlap it, and so on, in order of time."""
    length = np.where(allowed, edges[None, 1:] - edges[:-1, None], 0.0)
    spans: list[tuple[float, float]] = []
    while len(spans) < MOST_PROPOSED and length.size and length.max() > 0:
        first, last = np.unravel_index(int(np.argmax(length)), length.shape)
        spans.append((float(edges[first]), float(edges[last + 1])))
        numbers = np.arange(len(length))
        apart = (numbers[None, :] < first) | (numbers[:, None] > last)
        length = np.where(apart, length, 0.0)
    return sorted(spans)


def _judged(
    timeline: Timeline,
    start_s: float,
    end_s: float,
    limits: Limits,
    found: tuple[Disturbance, ...],
    *,
    proposed: bool,
    label: str = "",
) -> WindowResult:
    heater, unit = _cycles(timeline, start_s, end_s)
    missing = float(np.clip(1 - least_known(timeline, np.array([start_s, end_s]))[0], 0.0, 1.0))
    evidence = _evidence(timeline, start_s, end_s, limits, heater, unit)
    evidence.append(limits["missing_fraction"].judged(100 * missing))
    evidence.append(limits["disturbances"].judged(sum(each.touches(start_s, end_s) for each in found)))
    cycle = unit or heater
    return WindowResult(
        label=label,
        start=_utc(start_s),
        end=_utc(end_s),
        proposed=proposed,
        steady=all(row.passed for row in evidence),
        cycles=round(cycles_in(cycle, start_s, end_s), 2) if cycle else None,
        missing_fraction=missing,
        evidence=tuple(evidence),
    )


def _evidence(
    timeline: Timeline, start_s: float, end_s: float, limits: Limits, heater: Cycle | None, unit: Cycle | None
) -> list[Evidence]:
    """What the span's blocks say against the limits, cycle by cycle where something cycles."""
    blocks = blocks_of(timeline, block_edges(start_s, end_s, unit or heater, most=120))
    duration = replace(limits["duration"], limit=timeline.settings.min_window_s / 60)
    evidence = [duration.judged((end_s - start_s) / 60, at_least=True)]
    found_values = {name: float(values[0, -1]) for name, values in statistics(blocks, firsts=1).items()}
    evidence += [limits[name].judged(value) for name, value in found_values.items() if np.isfinite(value)]
    if unit is None and timeline.of(*POWER):
        evidence.append(limits["unit_power_levels"].judged(1 + _steps_inside(timeline, start_s, end_s)))
    if heater:
        evidence.append(limits["heater_phase"].judged(phase_bias_w(heater, start_s, end_s)))
    return evidence


def _steps_inside(timeline: Timeline, start_s: float, end_s: float) -> int:
    at = timeline.grid_s[power_steps(timeline)]
    return int(np.sum((at > start_s + timeline.step_s) & (at < end_s - timeline.step_s)))


def window_findings(timeline: Timeline, window: WindowResult, session: Session | None = None) -> tuple[Finding, ...]:
    """Say in words what a window suffers from: unsteadiness, cut cycles, gaps, disturbances."""
    start, end = window.start.timestamp(), window.end.timestamp()
    found = [*_unsteady(window), *_missing(window)]
    heater, unit = _cycles(timeline, start, end)
    if heater and phase_bias_w(heater, start, end) >= 1.0:
        found.append(_cut(heater, window, "heater_cycle_cut", "Let its ends snap to the heater's cycle."))
    if unit and phase_bias_w(unit, start, end) >= 1.0:
        whole = snapped(unit, start, end)
        remedy = f"Whole on-off cycles run from {_utc(whole[0]):%H:%M:%S} to {_utc(whole[1]):%H:%M:%S} UTC."
        found.append(_cut(unit, window, "unit_cycle_cut", remedy))
    found += [
        Finding(
            code="disturbance_in_window",
            severity=Severity.WARNING,
            sentence=f"The window {window.label or 'given'} touches {each.because}.",
            subject=window.label,
        )
        for each in disturbances(timeline, session.events if session else ())
        if each.touches(start, end)
    ]
    return tuple(found)


def _unsteady(window: WindowResult) -> list[Finding]:
    failed = [row for row in window.evidence if not row.passed]
    if not failed:
        return []
    facts = "; ".join(f"{row.quantity} {row.value:.3g} {row.quantity_unit} (limit {row.limit:g})" for row in failed)
    return [
        Finding(
            code="window_not_steady",
            severity=Severity.WARNING,
            sentence=f"The window {window.label or 'given'} is not steady: {facts}.",
            subject=window.label,
            remedy="" if window.reason else "Choose a calmer span, or state the reason for this one.",
        )
    ]


def _missing(window: WindowResult) -> list[Finding]:
    if window.missing_fraction < 0.001:
        return []
    lost = window.missing_fraction * (window.end - window.start).total_seconds()
    return [
        Finding(
            code="gap_in_window",
            severity=Severity.WARNING if window.missing_fraction > 0.01 else Severity.NOTE,
            sentence=f"In the window {window.label or 'given'} {lost:.0f} s ({window.missing_fraction:.1%}) of a power "
            "or room temperature log are missing; their bounds are part of the uncertainty.",
            subject=window.label,
        )
    ]


def _cut(cycle: Cycle, window: WindowResult, code: str, remedy: str) -> Finding:
    start, end = window.start.timestamp(), window.end.timestamp()
    return Finding(
        code=code,
        severity=Severity.WARNING,
        sentence=f"The window {window.label or 'given'} holds {cycles_in(cycle, start, end):.2f} cycles of "
        f"{cycle.name} ({cycle.period_s / 60:.1f} min, {cycle.duty:.0%} on); the part left over may shift its mean "
        f"by up to {phase_bias_w(cycle, start, end):.0f} W.",
        subject=window.label,
        remedy=remedy,
    )


def _utc(time_s: float) -> datetime:
    return datetime.fromtimestamp(time_s, UTC)
