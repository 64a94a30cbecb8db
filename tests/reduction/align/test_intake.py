"""Files of one session read beside each other: dates that fit both orders."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from reduction.align.intake import read_files
from reduction.errors import UnreadableTime
from reduction.session import LogFile, Window
from tests.reduction.signals import a_session

START = datetime(2026, 8, 2, 10, tzinfo=UTC)


def a_log_file(folder: Path, name: str, written: str) -> LogFile:
    stamps = [(START + timedelta(minutes=minute)).strftime(written) for minute in range(30)]
    (folder / name).write_text("Time,Room (°C)\n" + "".join(f"{stamp},22.5\n" for stamp in stamps))
    return LogFile(path=name)


def test_dates_that_fit_both_orders_are_read_as_the_windows_of_the_session_need_them(tmp_path: Path) -> None:
    file = a_log_file(tmp_path, "log.csv", "%d/%m/%Y %H:%M")
    window = Window(start_utc=START, end_utc=START + timedelta(minutes=20))
    (log,) = read_files(a_session(files=(file,), windows=(window,)), tmp_path)
    assert log.columns[0].time_s[0] == START.timestamp()
    assert [fault.code for fault in log.faults] == ["date_order_settled"]


def test_dates_that_fit_both_orders_are_read_as_another_file_of_the_session_needs_them(tmp_path: Path) -> None:
    files = (a_log_file(tmp_path, "a.csv", "%m/%d/%Y %H:%M"), a_log_file(tmp_path, "b.csv", "%Y-%m-%dT%H:%M:%SZ"))
    first, second = read_files(a_session(files=files), tmp_path)
    assert (first.path, second.path) == ("a.csv", "b.csv")
    assert first.columns[0].time_s[0] == second.columns[0].time_s[0]


def test_dates_that_fit_both_orders_and_nothing_else_are_asked_about(tmp_path: Path) -> None:
    file = a_log_file(tmp_path, "log.csv", "%d/%m/%Y %H:%M")
    with pytest.raises(UnreadableTime, match="Say whether the day or the month comes first"):
        read_files(a_session(files=(file,)), tmp_path)


def test_dates_with_dots_put_the_day_first(tmp_path: Path) -> None:
    (log,) = read_files(a_session(files=(a_log_file(tmp_path, "log.csv", "%d.%m.%Y %H:%M"),)), tmp_path)
    assert log.columns[0].time_s[0] == START.timestamp()
    assert any("dots" in guess.because for guess in log.guesses)
