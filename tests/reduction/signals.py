"""Signals with known truth for the tests of channels, timeline and windows."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reduction.align.counters import counter_of
from reduction.align.series import Series
from reduction.readers.table import Column, Guess, Log
from reduction.session import LogFile, Profile, Role, Room, SampleKind, Session, UnitKind, UnitUnderTest

FloatArray = NDArray[np.float64]

NOON_S = 1_784_030_400.0  # 2026-07-14 12:00 UTC
WH = 3600.0
KWH = 3.6e6


def clock(text: str, day: int = 14) -> float:
    """Return the instant of a time of day on that July day of 2026, as Unix time. [s]"""
    parts = [float(part) for part in text.split(":")] + [0.0]
    return NOON_S + (day - 14) * 86_400 + (parts[0] - 12) * 3600 + parts[1] * 60 + parts[2]


def a_series(time_s: Any, values: Any, role: Role = Role.ROOM_TEMP, **fields: Any) -> Series:
    kind = fields.get("kind", SampleKind.INSTANT)
    usual = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 60.0
    defaults: dict[str, Any] = {
        "key": fields.get("column", role.value),
        "file": "log.csv",
        "column": role.value,
        "place": "",
        "instrument": None,
        "placement_u": 0.0,
        "stale_after_s": 900.0 if kind == SampleKind.HELD else 5.5 * usual,
    }
    given = defaults | {"kind": kind} | fields
    return Series(role=role, time_s=np.asarray(time_s, float), values=np.asarray(values, float), **given)


def a_counter(time_s: Any, readings: Any, *, midnight_offset_s: float | None = None, **fields: Any) -> Series:
    counter = counter_of(np.asarray(time_s, float), np.asarray(readings, float) * KWH, midnight_offset_s)
    energy = np.concatenate([[0.0], np.cumsum(counter.energy)])
    return a_series(counter.time_s, energy, Role.UNIT_ENERGY, kind=SampleKind.COUNTER, counter=counter, **fields)


def heater(time_s: FloatArray, *, period_s: float = 600.0, duty: float = 0.5, on_w: float = 1500.0) -> FloatArray:
    """Power of a heater that is on for the first part of each period."""
    return np.where((time_s - NOON_S) % period_s < duty * period_s, on_w, 0.0)


def every(step_s: float, hours: float) -> FloatArray:
    return NOON_S + np.arange(0.0, hours * 3600, step_s)


def a_column(name: str, values: Any, role: Role, quantity_unit: str, **fields: Any) -> Column:
    guess = Guess("role", role.value, "its heading", 0.7)
    defaults: dict[str, Any] = {
        "time_s": NOON_S + 10.0 * np.arange(len(values)),
        "quantity": "",
        "unit_guess": guess,
        "kind": SampleKind.INSTANT,
        "kind_guess": guess,
        "role_guess": guess,
    }
    given = defaults | fields
    return Column(name=name, values=np.asarray(values, float), role=role, quantity_unit=quantity_unit, **given)


def a_log(*columns: Column, path: str = "log.csv", profile: Profile | None = None, **fields: Any) -> Log:
    return Log(path, "0" * 64, 1, "wide table", columns, profile or Profile(), **fields)


def a_session(**fields: Any) -> Session:
    defaults: dict[str, Any] = {
        "name": "bench run",
        "unit": UnitUnderTest(model="W9", kind=UnitKind.WINDOW),
        "room": Room(volume_m3=30.0),
        "files": (LogFile(path="log.csv"),),
    }
    return Session(**defaults | fields)


def a_room_answer(time_s: FloatArray, power_w: FloatArray, *, lag_s: float = 20.0) -> FloatArray:
    """Temperature of a small room's air under a switched heater, as a probe of `lag_s` shows it; 1 s steps or so.

    Two first-order lags: air of 600 s to 1/40 K per W, then the probe. Written for the tests, not the product's model.
    """
    step = time_s[1] - time_s[0]
    air, probe = np.zeros(len(time_s)), np.zeros(len(time_s))
    mean = power_w.mean()
    for now in range(1, len(time_s)):
        target = (power_w[now - 1] - mean) / 400.0
        air[now] = air[now - 1] + step / 600.0 * (target - air[now - 1])
        probe[now] = probe[now - 1] + step / lag_s * (air[now] - probe[now - 1])
    return 22.0 + probe


def a_thermostat(hours: float, *, step_s: float = 5.0, seed: int = 3) -> tuple[FloatArray, FloatArray]:
    """Times and power of a heater whose cycle wanders by a fifth, as a thermostat's does."""
    draw = np.random.default_rng(seed)
    time = every(step_s, hours)
    edges = NOON_S + np.cumsum(draw.uniform(240.0, 360.0, int(hours * 20)))
    return time, np.where(np.searchsorted(edges, time) % 2 == 1, 1500.0, 0.0)
