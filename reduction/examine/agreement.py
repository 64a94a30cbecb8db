"""What two channels say about each other: swapped roles, sensors apart, counter against power, no common time."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from reduction.align.series import Series, energy_over, mean_over
from reduction.examine import faults
from reduction.session import Finding, Role, Severity

SENSORS_APART_K = 1.0  # of two room sensors over a whole run; common practice, no source
COUNTER_APART = 0.03  # of the energy, besides the counter's step and the gaps of the power log; common practice
ENCLOSED_K = (-15.0, 30.0)  # condenser inlet over the air outdoors, as an enclosure can make it; common practice
LEAST_KW, MOST_KW = 0.15, 8.0  # what units and heaters draw; in W that much is a standby; common practice
MOST_FINDINGS = 3  # of one kind


def disagreements(series: list[Series]) -> list[Finding]:
    """All that the channels hold against each other."""
    looks = (_kilowatts, _swaps, _apart, _outdoors, _counters, _no_overlap)
    return [found for look in looks for found in look(series)]


def finding(code: str, series: Series, severity: Severity, sentence: str, remedy: str = "") -> Finding:
    """A finding about one channel."""
    return Finding(code=code, severity=severity, sentence=sentence, subject=series.key, remedy=remedy)


def _of(series: list[Series], *roles: Role) -> list[Series]:
    return [s for s in series if s.role in roles]


def _kilowatts(series: list[Series]) -> list[Finding]:
    """Powers of unit and heaters that are all a thousandth of what such things draw."""
    powers = _of(series, Role.UNIT_POWER, Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER)
    tops = [float(np.nanmax(s.values)) for s in powers]
    draw = [top for top in tops if top >= LEAST_KW]
    if len(draw) < 2 or max(tops) > MOST_KW:
        return []
    names = ", ".join(s.name for s, top in zip(powers, tops, strict=True) if top >= LEAST_KW)
    return [
        finding(
            "unit_mix_up", powers[0], Severity.SEVERE,
            f"{names} never exceed {max(tops):.2f} W, which is nothing for a unit or a heater; taken as kW they would "
            f"draw up to {1000 * max(tops):.0f} W.",
            "State kW as the unit of these channels if that is so.",
        )
    ]  # fmt: skip


def _swaps(series: list[Series]) -> list[Finding]:
    found = []
    for power in _of(series, Role.UNIT_POWER)[:1]:
        for warm_role, cold_role, words in (
            (Role.RETURN_TEMP, Role.SUPPLY_TEMP, "the supply is warmer than the return"),
            (Role.CONDENSER_OUTLET_TEMP, Role.CONDENSER_INLET_TEMP, "the condenser's inlet is warmer than its outlet"),
        ):
            for warm, cold in zip(_of(series, warm_role), _of(series, cold_role), strict=False):
                share, mean = faults.swapped(warm, cold, power)
                if share > 0.8 and mean < -1.0:
                    found.append(
                        finding(
                            "roles_swapped", cold, Severity.SEVERE,
                            f"While the unit draws power {words} ({cold.name} against {warm.name}) by {-mean:.1f} K "
                            f"on average and in {share:.0%} of the time: the two seem to be swapped.",
                            "Exchange the roles of the two channels if that is so.",
                        )
                    )  # fmt: skip
    return found


def _apart(series: list[Series]) -> list[Finding]:
    found = []
    for first, second in combinations(_of(series, Role.ROOM_TEMP), 2):
        start, end = max(first.time_s[0], second.time_s[0]), min(first.time_s[-1], second.time_s[-1])
        if end > start:
            apart = mean_over(first, start, end).value - mean_over(second, start, end).value
            if abs(apart) > SENSORS_APART_K:
                found.append(
                    finding(
                        "room_sensors_apart", first, Severity.WARNING,
                        f"{first.name} and {second.name} differ by {apart:+.1f} K over the whole run; a room that is "
                        "not mixed, or an offset.",
                        "Mix the air with a fan, and compare the sensors side by side before the next run.",
                    )
                )  # fmt: skip
    return found[:MOST_FINDINGS]


def _outdoors(series: list[Series]) -> list[Finding]:
    """The outdoor sensor against the condenser's inlet: further apart than any enclosure makes them."""
    found = []
    for outdoor in _of(series, Role.OUTDOOR_TEMP):
        for inlet in _of(series, Role.CONDENSER_INLET_TEMP)[:1]:
            there, here = (float(np.nanmedian(each.values)) for each in (outdoor, inlet))
            if not ENCLOSED_K[0] <= here - there <= ENCLOSED_K[1]:
                found.append(
                    finding(
                        "outdoors_far_from_condenser", outdoor, Severity.WARNING,
                        f"{outdoor.name} reads {there:.0f} °C while the condenser breathes {here:.0f} °C "
                        f"({inlet.name}): {abs(here - there):.0f} K apart, more than an enclosure makes. What leaks "
                        "through the walls rests on the first of them.",
                        "Check the sensor's unit and place; if both are right, say so in the notes.",
                    )
                )  # fmt: skip
    return found[:MOST_FINDINGS]


def _counters(series: list[Series]) -> list[Finding]:
    """The unit's counter against its power log over the time both cover."""
    found = []
    for counter in (s for s in _of(series, Role.UNIT_ENERGY) if s.counter is not None):
        for power in _of(series, Role.UNIT_POWER)[:1]:
            start, end = max(counter.time_s[0], power.time_s[0]), min(counter.time_s[-1], power.time_s[-1])
            if end - start < 600.0:
                continue
            counted, mean = energy_over(counter, start, end), mean_over(power, start, end)
            logged = mean.value * (end - start)
            limit = COUNTER_APART * logged + 2 * counted.step_j + (mean.high - mean.low) * (end - start)
            if not counted.seen_j - limit <= logged <= counted.high_j + limit:
                found.append(
                    finding(
                        "counter_disagrees", counter, Severity.WARNING,
                        f"{counter.name} counted {counted.seen_j / 3.6e6:.3f} kWh while {power.name} integrates to "
                        f"{logged / 3.6e6:.3f} kWh over the same {(end - start) / 3600:.1f} h.",
                        "Find out which of the two lags or is off before trusting the unit's power.",
                    )
                )  # fmt: skip
    return found


def _no_overlap(series: list[Series]) -> list[Finding]:
    if not series:
        return []
    late, early = max(series, key=lambda s: s.time_s[0]), min(series, key=lambda s: s.time_s[-1])
    if late.time_s[0] < early.time_s[-1]:
        return []
    hours = (late.time_s[0] - early.time_s[-1]) / 3600
    return [
        finding(
            "no_overlap", late, Severity.SEVERE,
            f"{late.name} in {late.file} starts {hours:.1f} h after {early.name} in {early.file} ends: no moment has "
            "all channels.",
            "Check the time zones and dates of the two files.",
        )
    ]  # fmt: skip
