"""Look at every channel before anything is averaged: take out what cannot be, say what seems wrong, with numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from reduction.align.clock import clock_offers
from reduction.align.counters import Counter
from reduction.align.series import POWER_ROLES, Series
from reduction.examine import faults
from reduction.examine.agreement import disagreements, finding
from reduction.session import Finding, Role, Severity

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STUCK_S = 3600.0
STUCK_SHARE = 0.1  # of the log, above which a stuck sensor is left out altogether
SIBLING_MOVES_K = 0.4  # what its siblings must have moved meanwhile, and three of its own steps; common practice
SENSOR_FAR_K = 5.0  # from the median of at least two others that agree: no room has that, common practice

GAIN_OF_F = (1.4, 2.3)  # about 1.8, as far as two places move alike
HEATING = " A unit that blows warm air heats, and only cooling is rated here."
SHARE_OF_ONE = "If it was logged as a share of one, state “fraction” as the unit of this channel."
PLACE_WORDS = {
    Role.ROOM_TEMP: "room",
    Role.ADJACENT_TEMP: "room",
    Role.RETURN_TEMP: "return air",
    Role.SUPPLY_TEMP: "supply air of a unit that cools",
    Role.OUTDOOR_TEMP: "outdoor air",
    Role.CONDENSER_INLET_TEMP: "condenser inlet",
    Role.CONDENSER_OUTLET_TEMP: "condenser outlet",
}

SIBLINGS: dict[Role, tuple[Role, ...]] = {
    Role.ROOM_TEMP: (Role.ROOM_TEMP, Role.RETURN_TEMP),
    Role.RETURN_TEMP: (Role.ROOM_TEMP, Role.RETURN_TEMP),
    Role.OUTDOOR_TEMP: (Role.OUTDOOR_TEMP, Role.CONDENSER_INLET_TEMP),
    Role.CONDENSER_INLET_TEMP: (Role.CONDENSER_INLET_TEMP, Role.OUTDOOR_TEMP),
}


@dataclass(frozen=True, eq=False)
class Examined:
    """Series without impossible samples, the keys that no mean may use, and what was found.

    `series` in the order given; spikes and impossible values are NaN in them. `left_out` goes to `timeline.align`.
    """

    series: tuple[Series, ...]
    left_out: frozenset[str]
    findings: tuple[Finding, ...]


def examine(series: tuple[Series, ...]) -> Examined:
    """Examine all channels: masks first, then what two channels say about each other.

    A channel is left out of all means where its level is impossible unless °F is read as °C; and, where another of its
    kind goes on measuring, if it stands still while its siblings move or is far off while the others agree.
    """
    findings: list[Finding] = []
    cleaned = tuple(_cleaned(each, findings) for each in series)
    usable = [each for each in cleaned if np.isfinite(each.values).any()]
    left_out = {each.key for each in usable if _is_out(each, usable, findings)}
    sound = [each for each in usable if each.key not in left_out]
    for each in sound:
        findings += [*_counter_events(each), *_saturated(each)]
    findings += [*_gaps(sound), *disagreements(sound)]
    findings += [offer.finding() for offer in clock_offers(tuple(sound))]
    return Examined(cleaned, frozenset(left_out), tuple(findings))


def _cleaned(series: Series, findings: list[Finding]) -> Series:
    """The series with spikes and impossible samples taken out, each kind said once."""
    if series.counter is not None or not len(series.values):
        return series
    if faults.fahrenheit_as_celsius(series) or faults.celsius_as_fahrenheit(series):
        return series
    impossible, spikes, stands = faults.out_of_range(series), faults.spiking(series), faults.frozen(series)
    for mask, code, words in (
        (impossible, "out_of_range", "cannot be"),
        (spikes & ~impossible, "spikes_removed", "jump away from their neighbours and back"),
    ):
        if mask.any():
            findings.append(_taken_out(series, mask, code, words))
    if stands.any():
        findings.append(_frozen(series, np.flatnonzero(stands)))
    mask = impossible | spikes | stands
    return replace(series, values=np.where(mask, np.nan, series.values)) if mask.any() else series


def _taken_out(series: Series, mask: BoolArray, code: str, words: str) -> Finding:
    worst = series.values[mask][np.argmax(np.abs(series.values[mask]))]
    return finding(
        code,
        series,
        Severity.NOTE if mask.mean() < 0.01 else Severity.WARNING,
        f"{mask.sum()} of {len(mask)} samples of {series.name} {words} (such as {worst:.1f} {_symbol(series)}) "
        "and were taken as missing.",
        SHARE_OF_ONE if series.role in faults.RH_ROLES and worst < faults.DRIEST_PERCENT else "",
    )


def _frozen(series: Series, at: NDArray[np.intp]) -> Finding:
    return finding(
        "frozen_power",
        series,
        Severity.SEVERE,
        f"{series.name} stands at {series.values[at[0]]:g} W to the last digit for {len(at)} readings from "
        f"{datetime.fromtimestamp(series.time_s[at[0]], UTC):%H:%M} UTC, though it wanders else; they were taken as "
        "missing.",
        "Look at the plug's link to its logger; leave this spell out of the windows.",
    )


def _is_out(series: Series, all_series: list[Series], findings: list[Finding]) -> bool:
    siblings = [s for s in all_series if s.role in SIBLINGS.get(series.role, (series.role,)) and s.key != series.key]
    return (
        _is_mis_united(series, siblings, findings)
        or _is_stuck(series, siblings, findings)
        or _is_far(series, siblings, findings)
    )


def _replaceable(series: Series, siblings: list[Series]) -> bool:
    return any(s.role == series.role for s in siblings)


def _is_mis_united(series: Series, siblings: list[Series], findings: list[Finding]) -> bool:
    fahrenheit = faults.fahrenheit_as_celsius(series)
    if not (fahrenheit or faults.celsius_as_fahrenheit(series)):
        return False
    level = float(np.nanmedian(series.values))
    would_be = (level - 32) / 1.8 if fahrenheit else level * 1.8 + 32
    findings.append(
        finding(
            "unit_mix_up", series, Severity.SEVERE,
            f"{series.name} reads {level:.1f} °C, which no {PLACE_WORDS[series.role]} has; taken as "
            f"{'°F' if fahrenheit else '°C'} it would be {would_be:.1f} °C{_gain_words(series, siblings)}. "
            "It was left out of the means.",
            f"State {'°F' if fahrenheit else '°C'} as the unit of this channel if that is so."
            + (HEATING if series.role is Role.SUPPLY_TEMP and fahrenheit else ""),
        )
    )  # fmt: skip
    return True


def _gain_words(series: Series, siblings: list[Series]) -> str:
    """How many times as far it moves as a sibling: 1.8 betrays °F."""
    for other in siblings:
        if not faults.fahrenheit_as_celsius(other):
            both = np.interp(series.time_s, other.time_s, np.nan_to_num(other.values, nan=np.nanmedian(other.values)))
            ratio = np.nanstd(series.values) / max(float(np.std(both)), 1e-9)
            betrays = np.std(both) > 0.05 and GAIN_OF_F[0] < ratio < GAIN_OF_F[1]
            return f", and it moves {ratio:.1f} times as far as {other.name}" if betrays else ""
    return ""


def _is_stuck(series: Series, siblings: list[Series], findings: list[Finding]) -> bool:
    if series.role not in faults.TEMP_ROLES | faults.RH_ROLES:
        return False
    mask = faults.stuck(series, STUCK_S)
    if not mask.any():
        return False
    at = np.flatnonzero(mask)
    run = at[series.values[at] == series.values[at[0]]]
    start, end = float(series.time_s[run[0]]), float(series.time_s[min(run[-1] + 1, len(series.time_s) - 1)])
    moved = [(_moved(s, start, end), s) for s in siblings]
    most, sibling = max(moved, key=lambda pair: pair[0], default=(0.0, None))
    if sibling is None or most < max(SIBLING_MOVES_K, 3 * faults.smallest_move(series.values)):
        return False
    out = _replaceable(series, siblings) and end - start > STUCK_SHARE * (series.time_s[-1] - series.time_s[0])
    findings.append(
        finding(
            "stuck_sensor", series, Severity.SEVERE,
            f"{series.name} stood at {series.values[run[0]]:g} {_symbol(series)} for {(end - start) / 3600:.1f} h "
            f"while {sibling.name} moved by {most:.1f} {_symbol(sibling).replace('°C', 'K')}."
            + (" It was left out of the means." if out else ""),
            "Look at its battery, cable and radio; leave it out or repeat the test.",
        )
    )  # fmt: skip
    return out


def _symbol(series: Series) -> str:
    return "%" if series.role in faults.RH_ROLES else "W" if series.role in POWER_ROLES else "°C"


def _moved(series: Series, start_s: float, end_s: float) -> float:
    """Range of a series within a span, by its 5 and 95 % quantiles."""
    inside = series.values[(series.time_s >= start_s) & (series.time_s <= end_s) & np.isfinite(series.values)]
    return float(np.subtract(*np.quantile(inside, [0.95, 0.05]))) if len(inside) > 3 else 0.0


def _is_far(series: Series, siblings: list[Series], findings: list[Finding]) -> bool:
    """Far off while at least two others of its role agree within 2 K."""
    others = [s for s in siblings if s.role == series.role == Role.ROOM_TEMP]
    if len(others) < 2:
        return False
    levels = np.array([s.level for s in others])
    away = series.level - float(np.median(levels))
    if abs(away) < SENSOR_FAR_K or np.ptp(levels) > 2.0:
        return False
    findings.append(
        finding(
            "room_sensor_far_off", series, Severity.SEVERE,
            f"{series.name} reads {away:+.1f} K from the other {len(others)} room sensors, which agree within "
            f"{np.ptp(levels):.1f} K. It was left out of the means.",
            "Check its role, its place and its calibration.",
        )
    )  # fmt: skip
    return True


def _gaps(series: list[Series]) -> list[Finding]:
    """Silences that are gaps, the channels of a file that share them said together."""
    alike: dict[tuple[str, int, int], list[Series]] = {}
    for each in series:
        missing = each.pieces.silences_s
        if each.counter is None and len(missing):
            alike.setdefault((each.file, len(missing), round(float(missing.max()))), []).append(each)
    return [_gap_finding(group) for group in alike.values()]


def _gap_finding(group: list[Series]) -> Finding:
    first = group[0]
    missing, whole = first.pieces.silences_s, max(1.0, float(first.time_s[-1] - first.time_s[0]))
    names = first.name if len(group) == 1 else f"{len(group)} channels of {first.file}, {first.name} among them,"
    share = float(missing.sum()) / whole
    gaps = "1 gap" if len(missing) == 1 else f"{len(missing)} gaps, the longest"
    return finding(
        "gap_in_channel", first, Severity.WARNING if share > 0.02 else Severity.NOTE,
        f"{names} {'has' if len(group) == 1 else 'have'} {gaps} of {missing.max() / 60:.3g} min, together "
        f"{share:.1%} of the log ({first.stale_after_s:.0f} s of "
        "silence or a reading marked as missing make a gap).",
    )  # fmt: skip


def _counter_events(series: Series) -> list[Finding]:
    counter = series.counter
    if counter is None or not (len(counter.glitches) or len(counter.resets)):
        return []
    return [
        finding(
            "counter_reset", series, Severity.WARNING if len(counter.resets) else Severity.NOTE,
            f"{series.name} {_counted(counter)}.",
        )
    ]  # fmt: skip


def _counted(counter: Counter) -> str:
    """What befell a counter, in words."""
    said = []
    if fallen := len(counter.glitches):
        said.append(f"fell and came back {_times(fallen)}, which was ignored")
    if resets := len(counter.resets):
        hidden = float(counter.unseen.sum()) / 3.6e6
        said.append(f"was reset {_times(resets)}, which may hide up to {hidden:.3f} kWh")
    return ", and ".join(said)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _saturated(series: Series) -> list[Finding]:
    mask = faults.saturated(series)
    if not mask.any():
        return []
    return [
        finding(
            "saturated", series, Severity.WARNING,
            f"{series.name} stays at its extreme of {series.values[mask][0]:g} for {mask.mean():.0%} of its samples: "
            "the end of its scale, it seems.",
        )
    ]  # fmt: skip
