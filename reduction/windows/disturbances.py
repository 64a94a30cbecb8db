"""What spoils a steady state: declared events, doors seen in the air, the first minutes after a start."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline, group_cells, remembered
from reduction.session import Event, Role
from reduction.windows.cycles import unit_cycle
from reduction.windows.plateaus import filled, power_steps, step_sizes, steps
from reduction.windows.steadiness import OFF_POWER_W

FloatArray = NDArray[np.float64]

SETTLE_S = 900.0  # after a door, a changed setting or a start; common practice, no source
DOOR_TEMP_K = 0.3  # smallest steps of temperature and humidity, together, that are taken for a door
DOOR_RH_PERCENT = 1.5
DOOR_FILTER_S = 120.0
DOOR_TOGETHER_S = 240.0
UNUSUAL_TEMP, UNUSUAL_RH = 2.2, 4.0  # times the usual step (75 % quantile), so that a thermostat's ripple is no door

SPAN_KINDS = frozenset({"door", "sun", "frost", "exclude"})
CHANGE_KINDS = frozenset({"door", "fan", "set_point", "heater"})


@dataclass(frozen=True)
class Disturbance:
    """A span that no steady window may touch, and why."""

    start_s: float
    end_s: float
    because: str

    def touches(self, start_s: float, end_s: float) -> bool:
        """Whether it overlaps a span."""
        return self.start_s < end_s and self.end_s > start_s


@remembered
def disturbances(timeline: Timeline, events: tuple[Event, ...] = ()) -> tuple[Disturbance, ...]:
    """All spans to keep out of steady windows, in order of time."""
    found = [*declared(events), *doors_seen(timeline), *starts(timeline)]
    return tuple(sorted(found, key=lambda each: each.start_s))


def declared(events: tuple[Event, ...]) -> list[Disturbance]:
    """Events that the tester declared; a change of setting, like a door, takes a quarter of an hour to settle."""
    found = []
    for event in events:
        if event.kind not in SPAN_KINDS | CHANGE_KINDS:
            continue
        end = (event.end_utc or event.time_utc).timestamp()
        settle = SETTLE_S if event.kind in CHANGE_KINDS else 0.0
        because = f"{event.what or event.kind} at {event.time_utc.astimezone(UTC):%H:%M} UTC, as declared"
        found.append(Disturbance(event.time_utc.timestamp(), end + max(settle, 1.0), because))
    return found


def doors_seen(timeline: Timeline) -> list[Disturbance]:
    """Steps of room temperature and humidity at the same time, each far beyond the signal's usual steps.

    Only both together count: a heater moves the temperature, a cycling unit the humidity.
    """
    temp, humidity = group_cells(timeline, Role.ROOM_TEMP), group_cells(timeline, Role.ROOM_RH)
    if not (np.isfinite(temp).sum() > 3 and np.isfinite(humidity).sum() > 3):
        return []
    width = max(1, round(DOOR_FILTER_S / timeline.step_s))
    temp, humidity = filled(temp), filled(humidity)
    when_temp = steps(temp, width, max(DOOR_TEMP_K, UNUSUAL_TEMP * _usual(temp, width)))
    when_humidity = steps(humidity, width, max(DOOR_RH_PERCENT, UNUSUAL_RH * _usual(humidity, width)))
    found = []
    for cell in when_temp:
        together = np.abs(when_humidity - cell) * timeline.step_s <= DOOR_TOGETHER_S
        if together.any():
            at = float(timeline.grid_s[cell])
            kelvin = step_sizes(temp, width)[cell]
            percent = step_sizes(humidity, width)[when_humidity[together][0]]
            because = (
                f"a door or window, it seems: at {datetime.fromtimestamp(at, UTC):%H:%M} UTC the room stepped by "
                f"{kelvin:+.1f} K and {percent:+.1f} % humidity within two minutes"
            )
            found.append(Disturbance(at - DOOR_FILTER_S, at + SETTLE_S, because))
    return found


def _usual(values: FloatArray, width: int) -> float:
    return float(np.quantile(np.abs(step_sizes(values, width)), 0.75))


def starts(timeline: Timeline) -> list[Disturbance]:
    """The first quarter of an hour after the unit starts; a unit that cycles has no start to wait for."""
    if not timeline.of(Role.UNIT_POWER) or unit_cycle(timeline, timeline.start_s, timeline.end_s):
        return []
    power = filled(group_cells(timeline, Role.UNIT_POWER))
    width = max(2, round(60.0 / timeline.step_s))
    found = []
    for cell in power_steps(timeline):
        before, after = power[max(0, cell - width) : cell], power[cell : cell + width]
        if len(before) and before.mean() <= OFF_POWER_W < after.mean():
            at = float(timeline.grid_s[cell])
            clock = f"{datetime.fromtimestamp(at, UTC):%H:%M} UTC"
            found.append(Disturbance(at, at + SETTLE_S, f"the unit started at {clock} and was settling"))
    return found
