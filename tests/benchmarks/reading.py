"""How fast logs are read: `python -m tests.benchmarks.reading` prints times beside a bare parse.

A wide table of 24 h × 1 Hz × 24 channels (16 MB) beside `pyarrow.csv.read_csv` of the same bytes, which finds types
and parses the stamps too; and an event log of two million rows.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import pyarrow.csv as pacsv

from reduction.readers import read_log
from tests.benchmarks.reduce_session import seconds_of

WIDE_LIMIT, EVENTS_LIMIT_S = 3.0, 2.5
SECONDS, CHANNELS, EVENTS = 86_400, 24, 2_000_000
START = np.datetime64("2026-07-14T00:00:00.000")


def wide_table(path: Path, rng: np.random.Generator) -> None:
    """Write one day of 24 channels, once a second."""
    stamps = np.datetime_as_string(START + np.arange(SECONDS).astype("timedelta64[s]"), unit="s")
    values = rng.normal(25.0, 1.0, (SECONDS, CHANNELS)).round(3).astype(str)
    lines = (f"{stamp}Z,{','.join(row)}" for stamp, row in zip(stamps, values, strict=True))
    names = ",".join(f"probe_{i}_C" for i in range(CHANNELS))
    path.write_text(f"time,{names}\n" + "\n".join(lines) + "\n")


def event_log(path: Path, rng: np.random.Generator) -> None:
    """Write two million reports of eight names."""
    names = ("t_supply", "t_room", "ac_w", "heater_w", "rh_room", "t_outdoor", "t_return", "t_cond_in")
    units = ("°C", "°C", "W", "W", "%", "°C", "°C", "°C")
    stamps = (START + np.cumsum(rng.integers(1, 90, EVENTS)).astype("timedelta64[ms]")).astype(str)
    which = rng.integers(0, len(names), EVENTS).tolist()
    values = rng.normal(25.0, 3.0, EVENTS).round(2).astype(str)
    rows = (f"{names[i]},{t}Z,{v},{units[i]}" for i, t, v in zip(which, stamps, values, strict=True))
    path.write_text("name,time,value,unit\n" + "\n".join(rows) + "\n", encoding="utf-8")


def main() -> None:
    """Print the times of both."""
    rng = np.random.default_rng(1)
    with tempfile.TemporaryDirectory(prefix="ledger-bench-") as folder:
        wide, events = Path(folder, "wide.csv"), Path(folder, "events.csv")
        wide_table(wide, rng)
        event_log(events, rng)
        bare = min(seconds_of(lambda: pacsv.read_csv(wide)) for _ in range(5))
        ours = min(seconds_of(lambda: read_log(wide)) for _ in range(5))
        took = min(seconds_of(lambda: read_log(events)) for _ in range(3))
        size = wide.stat().st_size / 1e6
        sys.stdout.write(
            f"wide table, {size:.0f} MB: {ours:.3f} s, {ours / bare:.2f} × a bare parse (limit {WIDE_LIMIT:g})\n"
            f"event log, {EVENTS:,} rows: {took:.2f} s (limit {EVENTS_LIMIT_S:g})\n"
        )


if __name__ == "__main__":
    main()
