"""Doors, declared events and starts are kept out of steady windows, with the evidence."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from reduction.align.timeline import Timeline, align
from reduction.session import Event, Role
from reduction.windows.disturbances import declared, disturbances, doors_seen, starts
from tests.reduction.signals import NOON_S, a_series, every, heater


def a_room(*, door_k: float = 0.0, door_percent: float = 0.0, ripple_k: float = 0.3) -> Timeline:
    time, draw = every(10.0, 4), np.random.default_rng(1)
    open_for = (time >= NOON_S + 7200) * np.exp(-np.maximum(0.0, time - NOON_S - 7200) / 1200)
    room = 22 + ripple_k * np.sin((time - NOON_S) / 95) + door_k * open_for + draw.normal(0, 0.03, len(time))
    humidity = 45 - ripple_k * np.sin((time - NOON_S) / 95) + door_percent * open_for + draw.normal(0, 0.1, len(time))
    return align((a_series(time, room), a_series(time, humidity, Role.ROOM_RH)))


def test_a_step_of_temperature_and_humidity_together_is_a_door() -> None:
    (door,) = doors_seen(a_room(door_k=1.2, door_percent=8.0))
    assert door.start_s == pytest.approx(NOON_S + 7200 - 120, abs=30)
    assert " UTC the room stepped by +1." in door.because


@pytest.mark.parametrize(("kelvin", "percent"), [(0.0, 0.0), (1.2, 0.0), (0.0, 8.0)])
def test_one_alone_is_no_door(kelvin: float, percent: float) -> None:
    assert doors_seen(a_room(door_k=kelvin, door_percent=percent)) == []


def test_a_strong_ripple_is_no_door() -> None:
    assert doors_seen(a_room(ripple_k=1.0)) == []


def test_a_declared_door_takes_a_quarter_of_an_hour_to_settle_and_a_note_takes_nothing() -> None:
    at = datetime.fromtimestamp(NOON_S, UTC)
    door, sun, note = (
        Event.model_validate({"time_utc": at, "what": "x", "kind": kind}) for kind in ("door", "sun", "note")
    )
    (found,) = declared((door,))
    assert found.end_s - found.start_s == 900.0
    assert found.because == "x at 12:00 UTC, as declared"
    assert [each.end_s - each.start_s for each in declared((sun, note))] == [1.0]


def test_the_first_minutes_after_a_start_are_kept_out() -> None:
    time = every(10.0, 2)
    power = a_series(time, np.where(time < NOON_S + 1800, 2.0, 700.0), Role.UNIT_POWER)
    (start,) = starts(align((power,)))
    assert (start.start_s - NOON_S, start.end_s - NOON_S) == pytest.approx((1800.0, 2700.0), abs=20)
    assert "the unit started at 12:" in start.because


def test_a_unit_that_cycles_has_no_start_to_wait_for() -> None:
    time = every(10.0, 4)
    assert starts(align((a_series(time, heater(time, on_w=700.0), Role.UNIT_POWER),))) == []


def test_all_are_given_in_order_of_time() -> None:
    early = Event.model_validate({"time_utc": datetime.fromtimestamp(NOON_S + 60, UTC), "what": "lamp", "kind": "sun"})
    found = disturbances(a_room(door_k=1.2, door_percent=8.0), (early,))
    assert [each.start_s for each in found] == sorted(each.start_s for each in found)
    assert len(found) == 2
