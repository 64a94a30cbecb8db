"""Small log files for tests: ninety minutes of a unit that stands still in a warm room, in three loggers' shapes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from math import sin

START = datetime(2026, 7, 14, 12, tzinfo=UTC)
MINUTES = 90
UNIT_W, HEATER_W = 700.0, 1900.0


def temperatures(minutes: int = MINUTES) -> bytes:
    """A wide table, a row every half minute."""
    lines = ["time_utc,Supply (°C),Return (°C),Condenser in (°C),Yard (°C),Room 1 (°C),Room 2 (°C),Room humidity (%)"]
    for half_minute in range(minutes * 2):
        ripple = 0.05 * sin(half_minute / 5.0)
        values = (10.0, 26.7, 35.0, 30.0, 26.6, 26.8)
        cells = ",".join(f"{value + ripple:.2f}" for value in values)
        lines.append(f"{_stamp(half_minute * 30)},{cells},25.0")
    return "\n".join(lines).encode()


def plugs(minutes: int = MINUTES) -> bytes:
    """An event log: a row when something changed, or as a sign of life."""
    lines = ["name,time,value,unit"]
    for minute in range(0, minutes, 2):
        ripple = sin(minute / 7.0)
        lines.append(f"unit_power,{_stamp(minute * 60)},{UNIT_W + ripple:.1f},W")
        lines.append(f"heater_1_power,{_stamp(minute * 60 + 3)},{HEATER_W + ripple:.1f},W")
    return "\n".join(lines).encode()


def energy(minutes: int = MINUTES) -> bytes:
    """Two registers of energy, a row a minute."""
    lines = ["Time,Unit energy (kWh),Heater 1 energy (kWh)"]
    for minute in range(minutes):
        used = [start + power * minute / 60_000.0 for start, power in ((40.0, UNIT_W), (210.0, HEATER_W))]
        lines.append(f"{_stamp(minute * 60)},{used[0]:.3f},{used[1]:.3f}")
    return "\n".join(lines).encode()


LOGS: dict[str, Callable[[], bytes]] = {"temperatures": temperatures, "plugs": plugs, "energy": energy}


def _stamp(seconds: float) -> str:
    return (START + timedelta(seconds=seconds)).strftime("%Y-%m-%dT%H:%M:%SZ")
