"""The same file by other programs: pandas, pyarrow and openpyxl find the same numbers and instants."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pyarrow.csv as pacsv
import pytest

from reduction.readers import read_log

ROWS, CHANNELS = 5000, 12


@pytest.fixture(scope="module")
def wide(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rng = np.random.default_rng(7)
    frame = pd.DataFrame(
        rng.normal(25, 3, (ROWS, CHANNELS)).round(4), columns=[f"probe_{i}_C" for i in range(CHANNELS)]
    )
    frame[frame > 31] = np.nan
    frame.insert(
        0, "time", pd.date_range("2026-07-14", periods=ROWS, freq="7s", tz="UTC").strftime("%Y-%m-%dT%H:%M:%SZ")
    )
    path = tmp_path_factory.mktemp("wide") / "wide.csv"
    frame.to_csv(path, index=False)
    return path


def test_a_wide_table_gives_the_numbers_that_pandas_gives(wide: Path) -> None:
    frame = pd.read_csv(wide, parse_dates=["time"])
    seconds = (
        frame["time"].astype("int64").to_numpy() / {"s": 1, "ms": 1e3, "us": 1e6, "ns": 1e9}[frame["time"].dt.unit]
    )
    log = read_log(wide)
    assert [c.name for c in log.columns] == list(frame.columns[1:])
    for column in log.columns:
        assert np.array_equal(column.values, frame[column.name].to_numpy(), equal_nan=True)
        assert np.array_equal(column.time_s, seconds)


def test_a_wide_table_gives_the_numbers_that_pyarrow_gives(wide: Path) -> None:
    table = pacsv.read_csv(wide)
    for column in read_log(wide).columns:
        assert np.array_equal(column.values, table[column.name].to_numpy(), equal_nan=True)


def test_full_columns_of_a_wide_table_share_one_clock(wide: Path) -> None:
    columns = read_log(wide).columns
    assert all(c.time_s is columns[0].time_s for c in columns)


def test_a_workbook_gives_what_openpyxl_reads(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Time", "Room (°C)", "AC (W)"])
    start = datetime(2026, 7, 14, 14, 5)  # noqa: DTZ001 - a cell holds a wall clock
    for i in range(50):
        sheet.append([start + timedelta(seconds=10 * i), 24 + i / 100, None if i == 7 else 742 - i])
    buffer = io.BytesIO()
    book.save(buffer)
    path = tmp_path / "book.xlsx"
    path.write_bytes(buffer.getvalue())
    rows = list(openpyxl.load_workbook(path).active.iter_rows(min_row=2, values_only=True))
    room, power = read_log(path, time_zone="Europe/Berlin").columns
    assert room.values.tolist() == [row[1] for row in rows]
    assert power.values.tolist() == pytest.approx([np.nan if row[2] is None else row[2] for row in rows], nan_ok=True)
    local = pd.DatetimeIndex([row[0] for row in rows]).tz_localize("Europe/Berlin")
    assert room.time_s.tolist() == [t.timestamp() for t in local]


def test_date_and_time_cells_in_two_columns_of_a_workbook_are_one_clock(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Date", "Time", "Room (°C)"])
    for i in range(3):
        stamp = datetime(2026, 7, 14, 14, 5, 10 * i)  # noqa: DTZ001 - a cell holds a wall clock
        sheet.append([stamp.date(), stamp.time(), 24 + i / 10])
    path = tmp_path / "book.xlsx"
    book.save(path)
    (room,) = read_log(path).columns
    assert np.datetime64("2026-07-14T14:05:00").astype(int) + 10 * np.arange(3) == pytest.approx(room.time_s)


def test_two_sheets_with_readings_are_two_logs(tmp_path: Path) -> None:
    from reduction.readers import read_logs

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, heading in (("Power", "AC (W)"), ("Air", "Supply (°C)"), ("Notes", "nothing")):
        sheet = book.create_sheet(name)
        sheet.append(["Time", heading])
        if name != "Notes":
            sheet.append([datetime(2026, 7, 14, 14, 5), 12.5])  # noqa: DTZ001 - a cell holds a wall clock
            sheet.append([datetime(2026, 7, 14, 14, 6), 12.6])  # noqa: DTZ001 - a cell holds a wall clock
    path = tmp_path / "book.xlsx"
    book.save(path)
    assert [log.path for log in read_logs(path)] == ["book.xlsx/Power", "book.xlsx/Air"]
