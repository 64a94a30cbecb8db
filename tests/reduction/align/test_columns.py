"""Channels that go on in the next file are one channel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reduction.align.channels import series_of
from reduction.readers.table import Guess
from reduction.session import Channel, Role
from tests.reduction.signals import NOON_S, a_column, a_log, a_session


def heater(start_s: float, rows: int = 60, watts: float = 1200.0):
    column = a_column("heater_w", [watts] * rows, Role.HEATER_CONSTANT_POWER, "W")
    return replace(column, time_s=start_s + 10.0 * np.arange(rows))


def files(*columns: object):
    return tuple(replace(a_log(column), path=f"part{n}.csv") for n, column in enumerate(columns, start=1))


def test_one_channel_in_two_files_one_after_the_other_is_one_series() -> None:
    logs = files(heater(NOON_S + 600.0), heater(NOON_S))
    channels = tuple(Channel(file=log.path, column="heater_w", role=Role.HEATER_CONSTANT_POWER) for log in logs)
    (series,), reads, findings = series_of(a_session(channels=channels), logs)
    assert np.diff(series.time_s) == pytest.approx(10.0)
    assert len(series.time_s) == 120
    assert [read.first.timestamp() for read in reads if read.first] == [NOON_S, NOON_S + 600.0]
    assert [finding.code for finding in findings] == ["parts_joined"]


def test_an_instant_that_two_parts_share_counts_once() -> None:
    (series,), _, _ = series_of(a_session(), files(heater(NOON_S), heater(NOON_S + 590.0, watts=1300.0)))
    assert len(series.time_s) == 119
    assert series.values[59] == 1200.0


def test_two_sensors_of_one_name_at_the_same_time_stay_two() -> None:
    series, _, findings = series_of(a_session(), files(heater(NOON_S), heater(NOON_S + 100.0)))
    assert len(series) == 2
    assert "parts_joined" not in [finding.code for finding in findings]


def test_a_channel_whose_column_is_empty_is_said_and_the_rest_is_used() -> None:
    dead = Guess("left_out", "outside_c", "“outside_c” has no reading at all", 0.95)
    log = a_log(heater(NOON_S), path="part1.csv", guesses=(dead,))
    channels = tuple(
        Channel(file="part1.csv", column=name, role=role)
        for name, role in (("outside_c", Role.OUTDOOR_TEMP), ("heater_w", Role.HEATER_CONSTANT_POWER))
    )
    series, _, (found,) = series_of(a_session(channels=channels), (log,))
    assert [s.column for s in series] == ["heater_w"]
    assert found.code == "no_reading"
    assert "outside_c of part1.csv was to be outdoor_temp and holds no reading." in found.sentence


def test_two_downloads_of_one_log_that_overlap_are_one_series() -> None:
    first = heater(NOON_S)
    first = replace(first, values=1200.0 + np.arange(60.0))
    second = replace(heater(NOON_S + 300.0), values=1230.0 + np.arange(60.0))
    (series,), _, findings = series_of(a_session(), files(first, second))
    assert "parts_joined" in [finding.code for finding in findings]
    assert series.values.tolist() == pytest.approx((1200.0 + np.arange(90.0)).tolist())


def test_a_steady_column_of_overlapping_downloads_is_told_by_those_beside_it() -> None:
    room = a_column("room_c", list(24.0 + np.arange(60.0) / 100.0), Role.ROOM_TEMP, "°C")
    room = replace(room, time_s=NOON_S + 10.0 * np.arange(60))
    later = replace(room, time_s=room.time_s + 300.0, values=24.0 + np.arange(30.0, 90.0) / 100.0)
    logs = tuple(
        replace(a_log(heater(start_s), temperature), path=f"part{n}.csv")
        for n, (start_s, temperature) in enumerate(((NOON_S, room), (NOON_S + 300.0, later)))
    )
    series, _, _ = series_of(a_session(), logs)
    assert [(s.column, len(s.time_s)) for s in series] == [("heater_w", 90), ("room_c", 90)]
