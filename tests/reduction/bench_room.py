"""A room with constant signals and known terms: the plainest session there is, with anything in it exchangeable."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from reduction.align.timeline import Series, Timeline, align
from reduction.balance.heat_balance import Balance, heat_balance
from reduction.room.slow_mass import SlowMassRelease
from reduction.session import (
    FixedLoad,
    HeaterKind,
    Instrument,
    LogFile,
    Role,
    Room,
    Session,
    Surface,
    UnitKind,
    UnitUnderTest,
)
from reduction.windows.span import span_of
from tests.reduction.signals import NOON_S, a_series, every

HOURS = 2.0
NO_MASS = SlowMassRelease(0.0, 0.0, "none in this room")
TIME_S = every(10.0, HOURS)

SIGNALS: dict[str, tuple[Role, float]] = {
    "heater": (Role.HEATER_CONSTANT_POWER, 2400.0),
    "unit": (Role.UNIT_POWER, 850.0),
    "room": (Role.ROOM_TEMP, 24.0),
    "outside": (Role.OUTDOOR_TEMP, 32.0),
}
INSTRUMENTS = {
    "heater": Instrument(id="plug heater", quantity="power", gain_limit=0.01, offset_limit=0.5),
    "unit": Instrument(id="plug unit", quantity="power", gain_limit=0.01, offset_limit=0.5),
    "room": Instrument(id="probe room", quantity="temperature", offset_limit=0.15),
    "outside": Instrument(id="probe outside", quantity="temperature", offset_limit=0.15),
}
ROOM = Room(
    name="test room",
    volume_m3=37.5,
    surfaces=(Surface(to="outdoor", ua_w_per_k=25.0, u95_w_per_k=4.0),),
    c_eff_j_per_k=2.475e6,
    c_eff_u95_j_per_k=0.5e6,
)


def a_channel(name: str, role: Role, values: Any, **fields: Any) -> Series:
    """One channel on the bench's clock; a number is a constant."""
    given = {"instrument": INSTRUMENTS.get(name), "column": name, "key": name} | fields
    return a_series(TIME_S, np.broadcast_to(np.asarray(values, float), TIME_S.shape), role, **given)


def a_timeline(signals: Mapping[str, Any] | None = None, *extra: Series, without: tuple[str, ...] = ()) -> Timeline:
    """The bench's channels with some values exchanged, others added or left out."""
    values = {name: value for name, (_, value) in SIGNALS.items()} | dict(signals or {})
    series = [a_channel(name, SIGNALS[name][0], value) for name, value in values.items() if name not in without]
    return align((*series, *extra))


def a_bench_session(**changes: Any) -> Session:
    """The session of the bench: fan and lights of 60 W, fan-forced heaters."""
    given: dict[str, Any] = {
        "name": "bench",
        "unit": UnitUnderTest(model="Norvane W9", kind=UnitKind.WINDOW),
        "room": ROOM,
        "files": (LogFile(path="log.csv"),),
        "fixed_loads": (FixedLoad(what="fan and lights", power_w=60.0, u95_w=4.0),),
        "heater_kind": HeaterKind.FAN_FORCED,
    }
    return Session(**given | changes)


def a_balance(timeline: Timeline | None = None, slow: SlowMassRelease = NO_MASS, **changes: Any) -> Balance:
    """The balance of the whole run."""
    timeline = timeline or a_timeline()
    span = span_of(timeline, "whole", NOON_S, NOON_S + HOURS * 3600.0)
    return heat_balance(timeline, a_bench_session(**changes), span, slow)


def terms_of(balance: Balance) -> dict[str, float]:
    """The terms by name. [W]"""
    x = np.array([[item.value] for item in balance.ledger.inputs])
    return {term.name: float(term.quantity(x)[0]) for term in balance.ledger.terms}


def capacity_of(balance: Balance) -> float:
    """The headline. [W]"""
    return float(balance.model(np.array([[item.value] for item in balance.ledger.inputs]))[0, 0])
