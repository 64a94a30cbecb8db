"""The time a balance is drawn up over, with what switches in it."""

from __future__ import annotations

from dataclasses import dataclass

from reduction.align.timeline import Timeline
from reduction.windows.cycles import Cycle, cycles_in, cycles_within, heater_cycle, phase_bias_w, unit_cycle

AROUND_S = 3600.0  # on either side at the least, in which a cycle shows


@dataclass(frozen=True, eq=False)
class Span:
    """A window with the cycles of heater and unit around it. Unix time. [s]"""

    label: str
    start_s: float
    end_s: float
    heater: Cycle | None = None
    unit: Cycle | None = None

    @property
    def length_s(self) -> float:
        """Its length. [s]"""
        return self.end_s - self.start_s

    @property
    def switching(self) -> Cycle | None:
        """What makes the room's temperature ripple: the unit on its own thermostat, else the heater."""
        return self.unit or self.heater

    @property
    def cycle_s(self) -> float:
        """Mean length of a cycle of what switches, 0 for nothing or less than one cycle. [s]"""
        cycles = cycles_in(self.switching, self.start_s, self.end_s) if self.switching else 0.0
        return self.length_s / cycles if cycles >= 1.0 else 0.0

    @property
    def cut_w(self) -> float:
        """The most that a heater cycle cut by the ends may shift the mean. [W]"""
        return phase_bias_w(self.heater, self.start_s, self.end_s) if self.heater else 0.0


def span_of(timeline: Timeline, label: str, start_s: float, end_s: float) -> Span:
    """The window with the cycles that show around it and go on in it."""
    margin = max(AROUND_S, 0.5 * (end_s - start_s))
    around = max(timeline.start_s, start_s - margin), min(timeline.end_s, end_s + margin)
    heater, unit = heater_cycle(timeline, *around), unit_cycle(timeline, *around)
    return Span(label, start_s, end_s, cycles_within(heater, start_s, end_s), cycles_within(unit, start_s, end_s))
