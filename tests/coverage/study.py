"""The coverage study: many replica sessions of each kind through the whole reduction, intervals against the truth.

    python -m tests.coverage.study --replicas 500
    python -m tests.coverage.study --rooms 200

takes some minutes on one core and prints a table; the short form runs with the tests. The second command does the same
for rooms characterised from a run with the unit off.
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
from fixtures.replicas.sessions import KINDS, draw_characterisation, draw_plan
from reduction.room.characterise import characterise
from reduction.run import choose_windows, reduce_windows
from reduction.session import Point
from tests.coverage.adapter import as_session

BATCH = 100
ROOM_QUANTITIES = ("UA to outdoors", "UA to neighbours", "ΣUA", "C of the fast store")
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


@dataclass(frozen=True)
class RoomRow:
    """One quantity of characterised rooms; bias, error and U95 as parts of the mean true value."""

    what: str
    replicas: int
    coverage: float
    bias: float
    error_sd: float
    median_u95: float

    def __str__(self) -> str:
        parts = "".join(f"{100 * part:>11.1f} %" for part in (self.coverage, self.bias, self.error_sd, self.median_u95))
        return f"{self.what:<18}{self.replicas:>6}{parts}"


ROOM_HEADING = f"{'what':<18}{'n':>6}{'held':>13}{'bias':>13}{'error sd':>13}{'median U95':>13}"


def _room_errors(count: int, seed: int) -> Iterator[list[tuple[float, float, float]]]:
    """Found, U95 and true of UA to outdoors, to the neighbours, their sum, and the fast capacity, of each room."""
    rng = np.random.default_rng(seed)
    for first in range(0, count, BATCH):
        plan = draw_characterisation(min(BATCH, count - first), rng)
        course = simulate(plan, rng)
        for i in range(len(plan.rooms)):
            session, timeline = as_session(replica(plan, course, i, rng))
            fit = characterise(timeline, session)
            (out, out_u), (near, near_u) = ((s.ua_w_per_k, s.u95_w_per_k) for s in fit.surfaces)
            both_u = float(np.sqrt(out_u**2 + near_u**2 + 2.0 * fit.correlation[0][1] * out_u * near_u))
            true_out, true_near = float(plan.rooms.ua_out[i]), float(plan.rooms.ua_adjacent[i])
            yield [
                (out, out_u, true_out),
                (near, near_u, true_near),
                (out + near, both_u, true_out + true_near),
                (fit.c_eff_j_per_k, fit.c_eff_u95_j_per_k, float(plan.rooms.fast_capacity[i])),
            ]


def room_rows(count: int, seed: int = 1) -> Iterator[RoomRow]:
    """How often characterised rooms hold their true values, one row a quantity."""
    found = np.array(list(_room_errors(count, seed)))
    for what, (value, u95, true) in zip(ROOM_QUANTITIES, np.moveaxis(found, 0, 2), strict=True):
        off, scale = value - true, true.mean()
        yield RoomRow(
            what, count, float(np.mean(np.abs(off) <= u95)), float(off.mean() / scale), float(off.std() / scale),
            float(np.median(u95) / scale),
        )  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--replicas", type=int, default=500, help="sessions of each kind")
    parser.add_argument(
        "--kind", action="append", choices=(*KINDS, *MORE_KINDS), help="only this kind; may be repeated"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rooms", type=int, default=0, help="characterise so many rooms instead")
    asked = parser.parse_args(arguments)
    if asked.rooms:
        sys.stdout.writelines(f"{line}\n" for line in (ROOM_HEADING, *room_rows(asked.rooms, asked.seed)))
        return 0
    sys.stdout.write(HEADING + "\n")
    for row in study(asked.replicas, asked.kind or KINDS, asked.seed):
        sys.stdout.write(f"{row}\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
