"""One window's balance in the making: where it is, what is known so far, what there is to say."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from reduction.align.timeline import Series, Timeline
from reduction.balance.loads import Load, loads_of
from reduction.ground.moist_air import station_pressure_pa
from reduction.session import Finding, Measured, Role, Session, Severity
from reduction.uncertainty.ledger import Ledger
from reduction.windows.span import Span


@dataclass
class Draft:
    """The window, the ledger its terms are entered in, and what was noticed on the way.

    A severe finding makes the point unusable.
    """

    session: Session
    timeline: Timeline
    span: Span
    ledger: Ledger = field(default_factory=Ledger)
    conditions: dict[str, Measured] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    _loads: dict[str, tuple[Load, ...]] = field(default_factory=dict)

    @property
    def start_s(self) -> float:
        """Start of the window, Unix time. [s]"""
        return self.span.start_s

    @property
    def end_s(self) -> float:
        """End of the window, Unix time. [s]"""
        return self.span.end_s

    @cached_property
    def cycle_s(self) -> float:
        """Mean cycle of what switches in the room, 0 for nothing. [s]"""
        return self.span.cycle_s

    def loads(self, what: str) -> tuple[Load, ...]:
        """Loads of one kind in the window: unit, heater or other."""
        if what not in self._loads:
            self._loads[what] = loads_of(self.timeline, what, self.start_s, self.end_s)
        return self._loads[what]

    @property
    def room_key(self) -> str:
        """What errors of this room are shared by: its name, else this session alone."""
        return self.session.room.name or self.session.name

    @property
    def pressure_pa(self) -> float:
        """Air pressure: stated, else that of the altitude."""
        settings = self.session.settings
        return settings.pressure_pa or station_pressure_pa(settings.altitude_m)

    def series(self, *roles: Role) -> tuple[Series, ...]:
        """Channels with one of these roles."""
        return self.timeline.of(*roles)

    def overlap(self, start_s: float | None, end_s: float | None) -> float:
        """Part of the window that a span covers, 0…1; an open end reaches beyond it.

        Examples
        --------
        >>> from reduction.session import LogFile, Room, UnitUnderTest
        >>> unit = UnitUnderTest(model="W9", kind="window")
        >>> session = Session(name="s", unit=unit, room=Room(volume_m3=30), files=(LogFile(path="a.csv"),))
        >>> import numpy as np
        >>> Draft(session, Timeline(np.zeros(1), 10.0, {}, {}), Span("w", 0.0, 100.0)).overlap(None, 25.0)
        0.25
        """
        first = self.start_s if start_s is None else max(start_s, self.start_s)
        last = self.end_s if end_s is None else min(end_s, self.end_s)
        return max(0.0, last - first) / self.span.length_s

    def say(self, code: str, severity: Severity, sentence: str, *, remedy: str = "", subject: str = "") -> None:
        """Note a finding about this window."""
        self.findings.append(
            Finding(code=code, severity=severity, sentence=sentence, subject=subject or self.span.label, remedy=remedy)
        )
