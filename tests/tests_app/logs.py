"""A calm test as its loggers wrote it, small enough to read in a moment."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile

START = datetime(2026, 7, 14, 12, tzinfo=UTC)
STEP_S = 15
HEATER_W, UNIT_W = 1700.0, 650.0
ROOM_C, OUTDOOR_C = 26.0, 35.0


def room_csv(hours: float = 2.0, *, zone: str = "Z", start: datetime = START) -> str:
    """Write the room logger's file: temperatures with a ripple far below any limit."""
    rows = ["time,room_C,supply_C,return_C,outdoor_C,room_RH"]
    for i in range(round(hours * 3600 / STEP_S)):
        ripple = 0.02 * (i % 3 - 1)
        stamp = (start + timedelta(seconds=i * STEP_S)).strftime("%Y-%m-%dT%H:%M:%S")
        rows.append(
            f"{stamp}{zone},{ROOM_C + ripple:.2f},12.{40 + i % 3},{ROOM_C + 0.1:.2f},"
            f"{OUTDOOR_C + ripple:.2f},45.{i % 3}"
        )
    return "\n".join(rows) + "\n"


def power_csv(hours: float = 2.0, *, start: datetime = START, zone: str = "Z") -> str:
    """Write the plugs' file."""
    rows = ["time,ac_W,heater_W"]
    for i in range(round(hours * 3600 / STEP_S)):
        stamp = (start + timedelta(seconds=i * STEP_S)).strftime("%Y-%m-%dT%H:%M:%S")
        rows.append(f"{stamp}{zone},{UNIT_W + i % 2:.1f},{HEATER_W + i % 3:.1f}")
    return "\n".join(rows) + "\n"


def cycling(*, behind_s: int = 0) -> list[SimpleUploadedFile]:
    """Return a room that warms and cools with its heater, whose plug's clock runs behind."""
    room, plug = ["time,room_C"], ["time,ac_W,heater_W"]
    level, step_s, period = ROOM_C, 10, 60
    for i in range(1080):
        is_on = i % period < period // 2
        level += 0.01 if is_on else -0.01
        at = START + timedelta(seconds=i * step_s)
        room.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{level:.2f}")
        plug.append(f"{at - timedelta(seconds=behind_s):%Y-%m-%dT%H:%M:%SZ},{UNIT_W},{HEATER_W if is_on else 0.0}")
    return [uploaded("room.csv", "\n".join(room)), uploaded("plug.csv", "\n".join(plug))]


def uploaded(name: str, content: str | bytes) -> SimpleUploadedFile:
    """Return a file as a browser would send it."""
    return SimpleUploadedFile(name, content.encode() if isinstance(content, str) else content)


def both(**options: Any) -> list[SimpleUploadedFile]:
    """Return the two files of the test."""
    return [uploaded("room.csv", room_csv(**options)), uploaded("power.csv", power_csv(**options))]
