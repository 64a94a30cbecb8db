"""Independent sessions with known truth beside our value.

`python -m tests.practice_cases DIR...` prints a table of truth, value and U95 for every window below these folders.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reduction.errors import ReductionError
from reduction.run import reduce_session
from reduction.session import Point
from tests.practice_mapping import Json, session_of


@dataclass(frozen=True)
class Compared:
    """One window with known truth beside our point."""

    case: str
    window: str
    kind: str
    truth_w: float
    truth_power_w: float | None
    point: Point | None

    @property
    def inside(self) -> bool | None:
        return None if self.point is None else self.point.interval_w[0] <= self.truth_w <= self.point.interval_w[1]

    @property
    def power_inside(self) -> bool | None:
        if self.point is None or self.truth_power_w is None or not self.point.power_u95_w:
            return None
        return abs(self.point.power_w - self.truth_power_w) <= self.point.power_u95_w


def compare(folder: Path) -> list[Compared]:
    """Reduce one folder and set every window with known truth beside our value."""
    case = json.loads((folder / "case.json").read_text())
    truth = json.loads((folder / "truth.json").read_text())
    session = session_of(case)
    result = reduce_session(session, base=folder)
    portable = session.unit.kind.value.endswith("portable")
    return [_compared(folder.name, w, result.points, portable=portable) for w in truth["windows"]]


def _compared(name: str, window: Json, points: Sequence[Point], *, portable: bool) -> Compared:
    point = next((p for p in points if p.label == window["label"]), None) or _most_common(window, points)
    total = window["capacity_net_room_w"] if portable else window["capacity_total_w"]
    sensible = point is not None and point.capacity_kind == "sensible" and not portable
    value = window["capacity_sensible_w"] if sensible else total
    return Compared(name, window["label"], window["kind"], value, window.get("power_w"), point)


def _most_common(window: Json, points: Sequence[Point]) -> Point | None:
    start, end = (datetime.fromisoformat(window[key]) for key in ("start_utc", "end_utc"))
    shared = [((min(p.end, end) - max(p.start, start)).total_seconds(), p) for p in points]
    best = max(shared, key=lambda pair: pair[0], default=(0.0, None))
    return best[1] if best[0] > 0 else None


HEADING = (
    "case",
    "window",
    "truth",
    "value",
    "error",
    "U95",
    "in",
    "kind",
    "power",
    "error",
    "U95",
    "in",
    "usable",
    "found",
)
LAYOUT = "{:8} {:10} {:>8} {:>8} {:>7} {:>6} {:>4} {:9} {:>7} {:>6} {:>5} {:>4} {:>6} {}\n"


def line(row: Compared) -> str:
    """One line of the table."""
    p = row.point
    if p is None:
        return f"{row.case:8} {row.window:10} {row.truth_w:8.1f} no point\n"
    power = row.truth_power_w or 0.0
    found = "; ".join([p.limit.verdict, *(f.code for f in p.findings)])
    return LAYOUT.format(
        row.case, row.window, f"{row.truth_w:.1f}", f"{p.capacity_w:.1f}", f"{p.capacity_w - row.truth_w:+.1f}",
        f"{p.capacity_u95_w:.1f}", WORDS[row.inside], p.capacity_kind, f"{p.power_w:.1f}", f"{p.power_w - power:+.1f}",
        f"{p.power_u95_w:.1f}", WORDS[row.power_inside], p.usable, found,
    )  # fmt: skip


WORDS = {True: "yes", False: "NO", None: "-"}


def main(folders: Sequence[str]) -> None:
    """Print the table."""
    sys.stdout.write(LAYOUT.format(*HEADING))
    for case in sorted(case.parent for folder in folders for case in Path(folder).rglob("case.json")):
        try:
            sys.stdout.writelines(line(row) for row in compare(case))
        except ReductionError as error:
            sys.stdout.write(f"{case.name:8} refused: {error}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
