"""The coverage study: many replica sessions of each kind through the whole reduction, intervals against the truth.

    python -m tests.coverage.study --replicas 500

takes some minutes on one core and prints a table; the short form runs with the tests.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixtures.replicas.loggers import Replica, replica
from fixtures.replicas.run import simulate
from fixtures.replicas.sessions import KINDS, draw_plan
from reduction.run import choose_windows, reduce_windows
from reduction.session import Point
from tests.coverage.adapter import as_session

BATCH = 100
MORE_KINDS = ("room not characterised",)


@dataclass(frozen=True)
class Outcome:
    """One replica: what the reduction says and what was true. [W]"""

    capacity_w: float
    u95_w: float
    low_w: float
    high_w: float
    true_w: float
    slow_mass_w: float
    slow_mass_u_w: float

    @property
    def held(self) -> bool:
        return self.low_w <= self.true_w <= self.high_w


@dataclass(frozen=True)
class Row:
    """One kind of session in the table."""

    kind: str
    replicas: int
    coverage: float
    bias_w: float
    error_sd_w: float
    median_u95_w: float
    mean_u95_w: float

    def __str__(self) -> str:
        return (
            f"{self.kind:<24}{self.replicas:>6}{100 * self.coverage:>9.1f} %{self.bias_w:>8.1f}"
            f"{self.error_sd_w:>10.1f}{self.median_u95_w:>12.1f}"
        )


HEADING = f"{'kind':<24}{'n':>6}{'held':>11}{'bias W':>8}{'error sd':>10}{'median U95':>12}"


def replicas(kind: str, count: int, seed: int = 1) -> Iterator[Replica]:
    """Draw and run `count` sessions of one kind, in batches; the same seed gives the same sessions."""
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    for first in range(0, count, BATCH):
        plan = draw_plan(kind, min(BATCH, count - first), rng)
        course = simulate(plan, rng)
        yield from (replica(plan, course, i, rng) for i in range(len(plan.rooms)))


def reduced(one: Replica) -> tuple[Point, float]:
    """The point of a replica's window, and the true mean over the window as it was used (snapped to cycles)."""
    session, timeline = as_session(one)
    (point,), _ = reduce_windows(timeline, session, choose_windows(timeline, session))
    course = "total_w" if point.capacity_kind == "total" else "sensible_w"
    return point, one.true_mean(course, point.start.timestamp(), point.end.timestamp())


def outcome(one: Replica) -> Outcome:
    """Reduce a replica and set it beside its truth."""
    point, true = reduced(one)
    slow = next(term for term in point.terms if term.name == "slow mass")
    return Outcome(point.capacity_w, point.capacity_u95_w, *point.interval_w, true, slow.value_w, slow.u_w)


def row_of(kind: str, outcomes: Iterable[Outcome]) -> Row:
    """Coverage, bias and usefulness of one kind."""
    found = list(outcomes)
    error: NDArray[np.float64] = np.array([o.capacity_w - o.true_w for o in found])
    u95 = np.array([o.u95_w for o in found])
    return Row(
        kind,
        len(found),
        float(np.mean([o.held for o in found])),
        float(error.mean()),
        float(error.std(ddof=1)),
        float(np.median(u95)),
        float(u95.mean()),
    )


def study(count: int, kinds: Iterable[str] = KINDS, seed: int = 1) -> Iterator[Row]:
    """One row for each kind."""
    for kind in kinds:
        yield row_of(kind, map(outcome, replicas(kind, count, seed)))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicas", type=int, default=500, help="sessions of each kind")
    parser.add_argument(
        "--kind", action="append", choices=(*KINDS, *MORE_KINDS), help="only this kind; may be repeated"
    )
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    sys.stdout.write(HEADING + "\n")
    for row in study(asked.replicas, asked.kind or KINDS, asked.seed):
        sys.stdout.write(f"{row}\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
