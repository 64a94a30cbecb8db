"""Whole reduction of a day at one row a second in 24 channels, beside the time it takes only to parse the file.

`python -m tests.benchmarks.reduce_session` prints three lines: pyarrow's CSV parser alone, a plain pandas script that
parses, resamples to a minute and averages, and `reduce_session` with everything it says; then its stages and its peak
memory. The three take turns, and beside the time on the wall stands that of the processor, all threads added: where
the first is far above the second (but for the parser, which has a thread for each core), others had the machine, and
only the ratios of processor times mean anything.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv

from reduction.run import reduce_session
from reduction.session import Session

ROWS = 86_400
START = pd.Timestamp("2026-07-14T00:00:00Z")
LIMIT_PARSE, LIMIT_PANDAS, LIMIT_MB = 10.0, 4.0, 400.0
REPEATS, ROUNDS = 5, 9

TEMPS = {
    **{f"room {i} (°C)": ("room_temp", 24.0) for i in range(1, 7)},
    **{f"hall {i} (°C)": ("adjacent_temp", 25.0) for i in range(1, 4)},
    "yard (°C)": ("outdoor_temp", 31.0),
    "roof (°C)": ("outdoor_temp", 31.5),
    "supply (°C)": ("supply_temp", 11.0),
    "supply 2 (°C)": ("supply_temp", 11.2),
    "return (°C)": ("return_temp", 24.2),
    "return 2 (°C)": ("return_temp", 24.1),
    "condenser in (°C)": ("condenser_inlet_temp", 32.0),
    "condenser out (°C)": ("condenser_outlet_temp", 42.0),
}
POWERS = {
    "unit (W)": ("unit_power", 720.0),
    "heater (W)": ("heater_constant_power", 1400.0),
    "heater 2 (W)": ("heater_cycling_power", 900.0),
    "fan (W)": ("other_power", 45.0),
    "lamp (W)": ("other_power", 20.0),
}
HUMIDITIES = {"room (%)": ("room_rh", 45.0), "yard (%)": ("outdoor_rh", 40.0)}
CHANNELS = TEMPS | POWERS | HUMIDITIES


def write_day(path: Path) -> None:
    """Write the log: a heater that cycles every ten minutes, a day outdoors, noise of an ordinary sensor."""
    rng = np.random.default_rng(1)
    seconds = np.arange(ROWS)
    day = np.sin(2 * np.pi * seconds / ROWS)
    cycle = (seconds % 600 < 300).astype(float)
    table: dict[str, object] = {"time": START + pd.to_timedelta(seconds, unit="s")}
    for name, (role, level) in CHANNELS.items():
        if role == "heater_cycling_power":
            values = level * cycle
        elif name in POWERS:
            values = level + rng.normal(0.0, 0.5, ROWS)
        else:
            swing = 3.0 if role in ("outdoor_temp", "condenser_inlet_temp", "condenser_outlet_temp") else 0.05
            values = level + swing * day + rng.normal(0.0, 0.03, ROWS)
        table[name] = np.round(values, 2 if name in TEMPS else 1)
    csv.write_csv(pa.Table.from_pandas(pd.DataFrame(table)), path)


def session_of(path: Path) -> Session:
    """The session of that day, its windows proposed by the program."""
    return Session.model_validate(
        {
            "name": "a day",
            "synthetic": True,
            "unit": {"model": "Norvane W9", "kind": "window"},
            "room": {
                "volume_m3": 30.0,
                "surfaces": [
                    {"to": "outdoor", "ua_w_per_k": 12.0, "u95_w_per_k": 2.0},
                    {"to": "adjacent", "ua_w_per_k": 20.0, "u95_w_per_k": 3.0},
                ],
                "c_eff_j_per_k": 4e5,
                "c_eff_u95_j_per_k": 1e5,
            },
            "files": [{"path": path.name}],
            "channels": [
                {
                    "file": path.name,
                    "column": name,
                    "role": role,
                    "place": "adjacent" if role == "adjacent_temp" else "",
                }
                for name, (role, _) in CHANNELS.items()
            ],
        }
    )


def pandas_script(path: Path) -> pd.Series:
    """What a reviewer's own script does at the least."""
    frame = pd.read_csv(path, parse_dates=["time"], index_col="time")
    return frame.resample("60s").mean().mean()


def seconds_of(what: Callable[[], object]) -> float:
    """Best of several runs, the usual guard against a busy machine. [s]"""
    best = float("inf")
    for _ in range(REPEATS):
        begin = time.perf_counter()
        what()
        best = min(best, time.perf_counter() - begin)
    return best


@dataclass(frozen=True)
class Took:
    """Best of several runs, on the wall and on all processors together. [s]"""

    wall_s: float
    cpu_s: float


def in_turn(*whats: Callable[[], object]) -> list[Took]:
    """Time several things in turn, so that what else goes on in the machine meets them all."""
    runs = [[_timed(what) for what in whats] for _ in range(ROUNDS)]
    return [Took(min(t.wall_s for t in each), min(t.cpu_s for t in each)) for each in zip(*runs, strict=True)]


def _timed(what: Callable[[], object]) -> Took:
    wall, cpu = time.perf_counter(), time.process_time()
    what()
    return Took(time.perf_counter() - wall, time.process_time() - cpu)


def stages(session: Session, base: Path) -> dict[str, float]:
    """Processor time of each stage as `reduce_session` tells it, best of several runs. [s]"""
    best: dict[str, float] = {}
    for _ in range(ROUNDS):
        marks: list[tuple[str, float]] = []
        reduce_session(session, base=base, progress=lambda stage, part: marks.append((stage, time.process_time())))  # noqa: B023
        for (stage, begin), (_, end) in pairwise(marks):
            best[stage] = min(best.get(stage, float("inf")), end - begin)
    return best


def peak_mb(path: Path) -> float:
    """Peak memory of a process that does nothing but this reduction, the interpreter and its libraries included."""
    code = (
        "import sys; from pathlib import Path; from tests.benchmarks.reduce_session import measured_peak_mb;"
        "print(measured_peak_mb(Path(sys.argv[1])))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    return float(done.stdout)


def measured_peak_mb(path: Path) -> float:
    """Reduce and return this process's peak memory."""
    reduce_session(session_of(path), base=path.parent)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main() -> None:
    """Print the comparison."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.csv"
        write_day(path)
        session = session_of(path)
        points = len(reduce_session(session, base=path.parent).points)
        parse, script, whole = in_turn(
            lambda: csv.read_csv(path),
            lambda: pandas_script(path),
            lambda: reduce_session(session, base=path.parent),
        )
        parts = stages(session, path.parent)
        memory = peak_mb(path)
        size = path.stat().st_size / 1e6
    write = sys.stdout.write
    write(f"{ROWS:,} rows × {len(CHANNELS)} channels, {size:.1f} MB, {points} points\n")
    write("                             wall   processor\n")
    for name, took in (("pyarrow.csv parse", parse), ("plain pandas script", script), ("reduce_session", whole)):
        write(f"{name:25s}{took.wall_s:8.3f}{took.cpu_s:12.3f} s\n")
    for stage, cpu_s in parts.items():
        write(f"  {stage:35s}{cpu_s:8.3f} s\n")
    for name, other, limit in (("parser", parse, LIMIT_PARSE), ("script", script, LIMIT_PANDAS)):
        ratios = whole.wall_s / other.wall_s, whole.cpu_s / other.cpu_s
        write(f"  against the {name:11s}{ratios[0]:8.1f}{ratios[1]:12.1f} × (limit {limit:g} on the wall)\n")
    write(f"  peak memory            {memory:8.0f} MB (limit {LIMIT_MB:g})\n")


if __name__ == "__main__":
    main()
