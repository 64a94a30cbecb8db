"""Any table that can be written in a supported shape reads back to the same numbers and instants."""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from reduction.readers import read_log
from reduction.session import Profile

ZONES = ("UTC", "America/New_York", "Europe/Berlin", "Asia/Kolkata", "Australia/Lord_Howe")
POOL = {
    "room_C": (10, 60),
    "supply_C": (-10, 30),
    "ac_W": (0, 3000),
    "heater B (W)": (0, 3000),
    "rh_%": (0, 100),
    "bucket_g": (0, 9000),
}


@dataclass(frozen=True)
class Table:
    """Instants [whole s], names, and rows of numbers with at most three decimals or None."""

    times: tuple[int, ...]
    columns: dict[str, tuple[float | None, ...]]
    zone: str

    def local(self) -> list[datetime]:
        return [datetime.fromtimestamp(t, ZoneInfo(self.zone)).replace(tzinfo=None) for t in self.times]

    def aware(self) -> list[datetime]:
        return [datetime.fromtimestamp(t, ZoneInfo(self.zone)) for t in self.times]


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Summer instants, so that no hour is repeated; that case has tests of its own."""
    start = datetime(2026, draw(st.integers(5, 8)), draw(st.integers(1, 28)), draw(st.integers(0, 23)), tzinfo=UTC)
    steps = draw(st.lists(st.integers(1, 3600), min_size=1, max_size=9))
    times = np.cumsum([int(start.timestamp()), *steps]).tolist()
    names = draw(st.lists(st.sampled_from(sorted(POOL)), min_size=1, max_size=4, unique=True))
    columns = {}
    for name in names:
        low, high = POOL[name]
        cell = st.integers(low * 1000, high * 1000).map(lambda i: i / 1000)
        known = draw(st.lists(cell, min_size=len(times), max_size=len(times)))
        holes = draw(st.sets(st.integers(1, len(times) - 1), max_size=len(times) // 3))
        columns[name] = tuple(None if i in holes else v for i, v in enumerate(known))
    return Table(tuple(times), columns, draw(st.sampled_from(ZONES)))


def number(value: float | None, decimal: str = ".", missing: str = "") -> str:
    return missing if value is None else f"{value:.3f}".replace(".", decimal)


def delimited(
    table: Table, stamps: list[str], delimiter: str = ",", decimal: str = ".", missing: str = "", head: str = "time"
) -> str:
    lines = [delimiter.join([head, *table.columns])]
    for i, stamp in enumerate(stamps):
        lines.append(delimiter.join([stamp, *(number(v[i], decimal, missing) for v in table.columns.values())]))
    return "\n".join(lines) + "\n"


def iso(t: Table) -> tuple[bytes, Profile]:
    return delimited(t, [a.isoformat() for a in t.aware()]).encode(), Profile()


def iso_naive_preamble(t: Table) -> tuple[bytes, Profile]:
    text = "Logger seven (synthetic)\nSerial,000\n\n" + delimited(t, [str(a) for a in t.local()], missing="NaN")
    return text.encode(), Profile(decimal=".")


def epoch_ms_pipes(t: Table) -> tuple[bytes, Profile]:
    return delimited(t, [str(s * 1000) for s in t.times], "|", missing="--").encode(), Profile(decimal=".")


def us_12h_quoted(t: Table) -> tuple[bytes, Profile]:
    stamps = [f'"{a:%m/%d/%Y %I:%M:%S %p}"' for a in t.local()]
    return ("\ufeff" + delimited(t, stamps, missing="n/a")).encode(), Profile(date_order="month_first")


def german(t: Table) -> tuple[bytes, Profile]:
    stamps = [f"{a:%d.%m.%Y %H:%M:%S}" for a in t.local()]
    return delimited(t, stamps, ";", ",", "fehlt", "Zeit").replace("\n", "\r\n").encode("cp1252"), Profile(
        date_order="day_first", decimal=","
    )


def utf16_tabs(t: Table) -> tuple[bytes, Profile]:
    stamps = [f"{a:%Y-%m-%d %H:%M:%S}" for a in t.local()]
    return delimited(t, stamps, "\t", ",").encode("utf-16"), Profile(decimal=",")


def two_columns(t: Table) -> tuple[bytes, Profile]:
    stamps = [f"{a:%d/%m/%Y},{a:%H:%M:%S}" for a in t.local()]
    return delimited(t, stamps, head="Date,Time").encode(), Profile(date_order="day_first")


def elapsed(t: Table) -> tuple[bytes, Profile]:
    stamps = [str(s - t.times[0]) for s in t.times]
    return delimited(t, stamps, head="elapsed_s").encode(), Profile(start_utc=datetime.fromtimestamp(t.times[0], UTC))


def gz(t: Table) -> tuple[bytes, Profile]:
    return gzip.compress(iso(t)[0]), Profile()


def in_zip(t: Table) -> tuple[bytes, Profile]:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("inner.csv", iso(t)[0])
    return buffer.getvalue(), Profile()


def event_log(t: Table) -> tuple[bytes, Profile]:
    lines = ["when;what;reading"]
    for i, a in enumerate(t.aware()):
        lines += [
            f"{a.isoformat()};{name};{number(values[i], missing='unavailable')}" for name, values in t.columns.items()
        ]
    return "\n".join(lines).encode(), Profile(decimal=".")


def json_lines(t: Table) -> tuple[bytes, Profile]:
    rows = [{"ts": a.isoformat()} | {n: v[i] for n, v in t.columns.items()} for i, a in enumerate(t.aware())]
    return "\n".join(json.dumps(r) for r in rows).encode(), Profile()


def parquet(t: Table) -> tuple[bytes, Profile]:
    buffer = io.BytesIO()
    frame = pd.DataFrame(
        {"time": pd.to_datetime(t.times, unit="s", utc=True)} | {n: list(v) for n, v in t.columns.items()}
    )
    frame.to_parquet(buffer)
    return buffer.getvalue(), Profile()


def workbook(t: Table) -> tuple[bytes, Profile]:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Time", *t.columns])
    for i, a in enumerate(t.local()):
        sheet.append([a, *(v[i] for v in t.columns.values())])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue(), Profile()


WRITERS = (iso, iso_naive_preamble, epoch_ms_pipes, us_12h_quoted, german, utf16_tabs, two_columns, elapsed, gz, in_zip,
    event_log, json_lines, parquet, workbook)  # fmt: skip


@pytest.mark.parametrize("write", WRITERS, ids=lambda w: w.__name__)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(table=tables())
@example(table=Table((1780317000, 1780317060), {"room_C": (24.5, None)}, "Europe/Berlin"))
def test_a_table_reads_back_to_the_same_numbers_and_instants(
    write: Callable[[Table], tuple[bytes, Profile]], table: Table, tmp_path: Path
) -> None:
    data, profile = write(table)
    path = tmp_path / "table"
    path.write_bytes(data)
    log = read_log(path, name="table", profile=profile, time_zone=table.zone)
    assert {c.name for c in log.columns} == set(table.columns)
    for column in log.columns:
        written = table.columns[column.name]
        known = np.isfinite(column.values)
        assert column.time_s[known].tolist() == [t for t, v in zip(table.times, written, strict=True) if v is not None]
        assert column.values[known].tolist() == [v for v in written if v is not None]


@given(shift_s=st.integers(-(10**7), 10**7), table=tables())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_moving_all_stamps_moves_only_the_times(shift_s: int, table: Table, tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    logs = []
    for shift in (0, shift_s):
        stamps = [str(t + shift + 4 * 10**7) for t in table.times]
        path.write_text(delimited(table, stamps, head="epoch"))
        logs.append(read_log(path))
    for a, b in zip(logs[0].columns, logs[1].columns, strict=True):
        assert (b.time_s - a.time_s).tolist() == [shift_s] * len(a.time_s)
        assert np.array_equal(a.values, b.values, equal_nan=True)
        assert a.role == b.role
        assert timedelta(seconds=shift_s) == timedelta(seconds=float(b.time_s[0] - a.time_s[0]))
