"""Columns as read become series in SI, with every guess, clock and calibration said."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from reduction.align.channels import series_of
from reduction.align.series import energy_over, mean_over
from reduction.errors import InvalidSession
from reduction.readers import read_log
from reduction.readers.table import Fault, Question
from reduction.session import (
    Channel,
    ClockCorrection,
    Instrument,
    LogFile,
    Profile,
    Role,
    SampleKind,
    Session,
    Severity,
)
from tests.reduction.signals import KWH, NOON_S, a_column, a_log, a_session, clock


def a_channel(column: str, role: Role, **fields: object) -> Channel:
    return Channel.model_validate({"file": "log.csv", "column": column, "role": role} | fields)


def one_of(session: Session, *columns: object, **log: object):
    return series_of(session, (a_log(*columns, **log),))[0][0]


def test_fahrenheit_becomes_celsius_and_a_difference_only_scales() -> None:
    room = a_column("Yard °F", [76.3, 76.3], Role.ROOM_TEMP, "°F")
    split = a_column("split_F", [18.0, 18.0], Role.ROOM_TEMP, "°F", is_difference=True)
    channels = (a_channel("Yard °F", Role.ROOM_TEMP), a_channel("split_F", Role.SURFACE_TEMP))
    series, _, _ = series_of(a_session(channels=channels), (a_log(room, split),))
    assert [s.values[0] for s in series] == pytest.approx([24.611, 10.0], abs=1e-3)


def test_without_channels_the_readers_roles_are_used_and_said() -> None:
    log = a_log(a_column("ac", [740, 741], Role.UNIT_POWER, "W"), a_column("x", [1, 2], Role.IGNORED, ""))
    series, reads, findings = series_of(a_session(), (log,))
    assert [(s.role, r.guessed, r.sure) for s, r in zip(series, reads, strict=True)] == [(Role.UNIT_POWER, True, 0.7)]
    assert [f.code for f in findings] == ["roles_guessed"]
    assert "70%" in findings[0].sentence


def test_several_room_sensors_stay_separate_series() -> None:
    log = a_log(*(a_column(f"room {n}", [22.0, 22.1], Role.ROOM_TEMP, "°C") for n in (1, 2, 3)))
    assert [s.key for s in series_of(a_session(), (log,))[0]] == ["log.csv:room 1", "log.csv:room 2", "log.csv:room 3"]


def test_a_known_offset_and_gain_are_taken_out_of_the_readings() -> None:
    probe = Instrument(id="probe", offset_correction=0.4, gain_correction=1.01)
    session = a_session(instruments=(probe,), channels=(a_channel("room", Role.ROOM_TEMP, instrument="probe"),))
    assert one_of(session, a_column("room", [20.6, 20.6], Role.ROOM_TEMP, "°C")).values[0] == pytest.approx(20.0)


def test_an_offset_means_nothing_to_a_counter() -> None:
    plug = Instrument(id="plug", offset_correction=2.0, gain_correction=1.02)
    session = a_session(instruments=(plug,), channels=(a_channel("kWh", Role.UNIT_ENERGY, instrument="plug"),))
    column = a_column("kWh", [1.0, 2.02], Role.UNIT_ENERGY, "kWh", kind=SampleKind.COUNTER)
    assert energy_over(one_of(session, column), NOON_S, NOON_S + 10).seen_j / KWH == pytest.approx(1.0)


def test_a_clock_moves_its_own_file_only() -> None:
    files = (LogFile(path="hub.csv"), LogFile(path="logger.csv", clock=ClockCorrection(offset_s=-94.0)))
    logs = tuple(a_log(a_column("room", [22, 23], Role.ROOM_TEMP, "°C"), path=file.path) for file in files)
    hub, logger = series_of(a_session(files=files), logs)[0]
    assert (hub.time_s[0] - NOON_S, logger.time_s[0] - NOON_S) == (0.0, -94.0)


@pytest.mark.parametrize(
    ("stamp", "stamps"), [("interval_end", ["18:10", "18:15"]), ("interval_start", ["18:05", "18:10"])]
)
def test_stamps_at_the_start_or_the_end_mean_the_same_interval(stamp: str, stamps: list[str]) -> None:
    column = a_column(
        "W", [593.0, 600.0], Role.UNIT_POWER, "W", kind=SampleKind.INTERVAL_MEAN,
        time_s=np.array([clock(each) for each in stamps]),
    )  # fmt: skip
    series = one_of(a_session(), column, profile=Profile.model_validate({"stamp": stamp}))
    assert mean_over(series, clock("18:05"), clock("18:10")).value == 593.0


def test_energy_per_row_is_summed_and_agrees_with_the_power() -> None:
    minutes = np.array([clock("14:05"), clock("14:06"), clock("14:07")])
    column = a_column("E_ac_Tot", [12.36] * 3, Role.UNIT_ENERGY, "Wh", kind=SampleKind.TOTAL, time_s=minutes)
    assert mean_over(one_of(a_session(), column), minutes[0], minutes[2]).value == pytest.approx(741.6)


def test_condensate_in_pints_becomes_kilograms() -> None:
    column = a_column("bucket", [0.0, 1.0], Role.CONDENSATE_MASS, "US pint")
    assert one_of(a_session(), column).values[1] == pytest.approx(0.472, abs=0.001)


@pytest.mark.parametrize(
    ("channel", "sentence"),
    [
        ({"column": "rom"}, "found “rom”, expected a column of this file. Its columns are: room."),
        ({"file": "other.csv"}, "found “other.csv”, expected a path listed in files. Files read: log.csv."),
        ({"instrument": "probe 9"}, "found “probe 9”, expected the id of an instrument of this session."),
        ({"quantity_unit": "W"}, "found “W for the role room_temp”, expected a unit of temperature."),
    ],
)
def test_a_channel_that_fits_nothing_is_said_with_the_way_to_mend_it(channel: dict[str, str], sentence: str) -> None:
    given = {"file": "log.csv", "column": "room", "role": "room_temp"} | channel
    session = a_session(channels=(Channel.model_validate(given),))
    with pytest.raises(InvalidSession, match=sentence.replace(".", r"\.").replace("?", r"\?")):
        one_of(session, a_column("room", [22.0, 22.0], Role.ROOM_TEMP, "°C"))


def test_an_overdue_calibration_is_a_warning_with_both_dates() -> None:
    probe = Instrument(id="probe", calibration_due=date(2026, 5, 1))
    session = a_session(instruments=(probe,), channels=(a_channel("room", Role.ROOM_TEMP, instrument="probe"),))
    _, _, findings = series_of(session, (a_log(a_column("room", [22.0, 22.0], Role.ROOM_TEMP, "°C")),))
    assert [f.code for f in findings] == ["calibration_overdue"]
    assert "2026-05-01" in findings[0].sentence


def test_repairs_and_open_questions_of_the_reader_are_findings() -> None:
    log = a_log(
        a_column("ac", [740, 741], Role.UNIT_POWER, "W"),
        faults=(Fault("conflicting_duplicates", 2, 7, None, "2 rows repeat a time with another value."),),
        questions=(Question("the order of day and month", ("day first", "month first"), "no day is above 12"),),
    )
    codes = {f.code: f for f in series_of(a_session(), (log,))[2]}
    assert codes["conflicting_duplicates"].sentence.startswith("2 rows")
    assert "day first or month first" in codes["question_open"].sentence


@pytest.mark.parametrize(
    ("intervals", "kind", "limit_s"),
    [
        ([10.0] * 50, SampleKind.INSTANT, 60.0),
        ([300.0] * 50, SampleKind.INSTANT, 900.0),
        ([1800.0] * 50, SampleKind.INSTANT, 2700.0),
        ([7.0, 31.0, 12.0] * 20, SampleKind.HELD, 900.0),
        ([7.0, 600.0, 12.0] * 20, SampleKind.HELD, 1500.0),
    ],
)
def test_how_long_silence_may_last_follows_from_how_the_channel_reports(
    intervals: list[float], kind: SampleKind, limit_s: float
) -> None:
    time = NOON_S + np.cumsum(intervals)
    column = a_column("ac", np.full(len(time), 740.0), Role.UNIT_POWER, "W", kind=kind, time_s=time)
    assert one_of(a_session(), column).stale_after_s == pytest.approx(limit_s)


def test_a_stated_limit_of_silence_wins() -> None:
    session = a_session(channels=(a_channel("ac", Role.UNIT_POWER, stale_after_s=45.0),))
    assert one_of(session, a_column("ac", [740, 741, 742], Role.UNIT_POWER, "W")).stale_after_s == 45.0


def test_a_read_channel_knows_its_span() -> None:
    _, reads, _ = series_of(a_session(), (a_log(a_column("ac", [740, np.nan, 742], Role.UNIT_POWER, "W")),))
    assert (reads[0].samples, reads[0].first) == (2, datetime.fromtimestamp(NOON_S, UTC))


def test_a_unit_that_the_session_states_is_asked_for_no_more() -> None:
    log = a_log(
        a_column("room", [22.0, 22.1], Role.ROOM_TEMP, "°C"),
        questions=(Question("unit of room", ("°F", "°C"), "no heading says it"),),
    )
    stated = a_session(channels=(a_channel("room", Role.ROOM_TEMP, quantity_unit="°C"),))
    assert "question_open" in [f.code for f in series_of(a_session(), (log,))[2]]
    assert series_of(stated, (log,))[2] == ()


def test_a_unit_written_in_every_cell_is_not_overruled(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("time_utc,heater\n2026-07-14T18:05:00Z,1.190 kW\n2026-07-14T18:05:10Z,742 W\n")
    channel = Channel(file="log.csv", column="heater", role=Role.HEATER_CONSTANT_POWER, quantity_unit="W")
    (series,), _, _ = series_of(a_session(channels=(channel,)), (read_log(log),))
    assert series.values.tolist() == pytest.approx([1190.0, 742.0])


def test_a_question_about_a_column_that_plays_no_part_is_no_finding(tmp_path: Path) -> None:
    log = tmp_path / "meter_of_ac.csv"
    log.write_text(
        "Time,Power,Today,Total\n2026-07-14T18:05:00Z,742.1,1.2,101.2\n2026-07-14T18:15:00Z,742.3,1.3,101.3\n"
    )
    _, _, findings = series_of(a_session(), (read_log(log),))
    assert [f.sentence.split(" open")[0] for f in findings if f.code == "question_open"] == [
        "meter_of_ac.csv leaves unit of meter_of_ac Total"
    ]


def test_a_lost_half_of_the_day_is_no_small_matter(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    stamps = [(12, 57), (12, 58), (12, 59), (1, 0), (1, 1), (1, 2)]
    log.write_text("time,room_C\n" + "".join(f"2026-07-14 {h:02}:{m:02}:00,24.6\n" for h, m in stamps))
    _, _, findings = series_of(a_session(), (read_log(log),))
    assert ("half_day_lost", Severity.SEVERE) in [(f.code, f.severity) for f in findings]
