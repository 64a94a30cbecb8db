"""An invented public data set of any size: the first units through the application, the others as copies of them.

Copies are made inside the database, with names, keys and stamps of their own, so that a million points take minutes.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Model

KINDS = ("window", "through_wall", "single_duct_portable", "dual_duct_portable", "mini_split")
TAGS = ("quiet", "heavy", "remote", "wi-fi", "kitchen", "bedroom", "loud", "new", "old", "repaired")
NOON = datetime(2026, 7, 14, 12, tzinfo=UTC)
POINTS, A_BENCH, FIRST = 20, 50, 50
SHARED_ERRORS = 12
STEPS = (
    "Claim",
    "Room temperature",
    "Room humidity",
    "Outdoor temperature",
    "Voltage",
    "Not seen by the balance",
    "Rest",
)
BECAUSE = "The room stood at 26.8 °C instead of 27.0 °C, by the published maps of units of this kind."


def build(units: int) -> None:
    """Make so many units, each with claims, tags and points of a published edition, where fewer are there yet."""
    from units.models import Unit

    chance, here = random.Random(units), Unit.objects.count()
    while here < min(units, 10 * FIRST):
        _a_bench(here, min(A_BENCH, units - here), chance)
        here = Unit.objects.count()
    while here < units:
        with transaction.atomic():
            _copy(min(here, units - here, 5000), number=here)
        here = Unit.objects.count()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _a_bench(start: int, count: int, chance: random.Random) -> None:
    from units import shelf
    from units.models import Bench, Claim, Edition, PublishedPoint, Review, Tag, Unit

    bench = Bench.objects.create(name=f"Bench {start}", slug=f"bench-{start}", is_synthetic=True)
    tags = Tag.objects.bulk_create([Tag(bench=bench, value=word) for word in TAGS])
    units = Unit.objects.bulk_create([_unit(bench, start + n, chance) for n in range(count)])
    review = Review.objects.create(bench=bench, slug=bench.slug, title=bench.name)
    edition = Edition.objects.create(
        review=review, number=1, document="{}", sha256="0" * 64, html="<p></p>", published_at=NOON
    )
    full = {unit: chance.uniform(1500, 4500) for unit in units}
    Claim.objects.bulk_create(claim for unit in units for claim in _claims(unit, full[unit]))
    links = Unit.tags.through
    links.objects.bulk_create(links(unit=unit, tag=tag) for unit in units for tag in chance.sample(tags, 3))
    points = [
        _point(edition, unit, full[unit] * chance.uniform(0.7, 1.1), chance, n) for unit in units for n in range(POINTS)
    ]
    PublishedPoint.objects.bulk_create(points)
    shelf.refresh(units)


def _unit(bench: Any, n: int, chance: random.Random) -> Any:
    from units.models import Unit

    return Unit(
        bench=bench, maker=f"Maker {n % 40}", model=f"M{n}", kind=chance.choice(KINDS), is_synthetic=True,
        compressor=chance.choice(["fixed_speed", "variable_speed"]), refrigerant=chance.choice(["R-32", "R-290"]),
        voltage_v=chance.choice([115, 230]), obtained=chance.choice(["bought", "lent"]),
        price=chance.choice([199, 349, 529, 899]), price_currency="EUR",
    )  # fmt: skip


def _claims(unit: Any, capacity_w: float) -> list[Any]:
    from units.models import Claim

    stated = (("capacity", capacity_w, "W"), ("eer", 10.0, "Btu/(W·h)"), ("sound", 50.0, "dB(A)"))
    return [
        Claim(unit=unit, quantity=name, value=value, quantity_unit=of, value_si=value) for name, value, of in stated
    ]


def _point(edition: Any, unit: Any, full_w: float, chance: random.Random, n: int) -> Any:
    from units.models import PublishedPoint

    outdoor, room = chance.uniform(24, 42), chance.uniform(24, 28)
    capacity = full_w * (1 - 0.01 * (outdoor - 35))
    rated = chance.random() < 0.7
    return PublishedPoint(
        edition=edition, unit=unit, label=f"A{n}", room_temp_c=room, room_wet_bulb_c=room - 7, room_rh_percent=50.0,
        outdoor_temp_c=outdoor, capacity_w=capacity, capacity_u95_w=0.04 * capacity,
        capacity_kind=chance.choice(["total", "sensible"]), power_w=capacity / 3, power_u95_w=8.0, eer_btu_per_wh=10.2,
        eer_u95=0.4, cop=3.0, cop_u95=0.1, limit="at full speed",
        measured_at=NOON + timedelta(days=n // 3, hours=n % 3),
        rated_capacity_w=full_w if rated else None, rated_capacity_u95_w=0.06 * full_w if rated else None,
        rated_eer_btu_per_wh=9.9 if rated else None, rated_eer_u95=0.5 if rated else None,
        detail=_detail(full_w, capacity, chance, n // 3) | {"ratings": [_rating(full_w)] if rated else []},
    )  # fmt: skip


def _detail(full_w: float, capacity_w: float, chance: random.Random, session: int) -> dict[str, Any]:
    """Return what stands beside a published point, as large as it really is: some keys of the bench, some of a run."""
    keys = [f"{n:016x}" if n % 3 else f"{chance.randrange(4) * 100 + session:016x}" for n in range(SHARED_ERRORS)]
    parts = [0.006 * capacity_w * chance.uniform(-1, 1) for _ in keys]
    return {
        "k": 2.0,
        "budget": [{"contribution_w": w, "shared_key": key} for key, w in zip(keys, parts, strict=True)],
        "eer_budget": [{"contribution_w": w / 300, "shared_key": key} for key, w in zip(keys, parts, strict=True)],
        "shortfall": [
            {"name": name, "value_w": full_w if not n else -9.0, "u_w": 12.0, "because": BECAUSE,
             "kind": "modelled" if n else "claim"}
            for n, name in enumerate(STEPS)
        ],
        "verdicts": [
            {"claim": f"{quantity}, leaflet", "quantity": quantity, "claimed": 1.0, "measured": 1.0,
             "measured_u95": 0.1, "quantity_unit": "W", "probability_meets": 0.4,
             "probability_within_tolerance": 0.9, "tolerance": 0.1,
             "scheme": "invented", "words": "cannot tell", "because": BECAUSE}
            for quantity in ("capacity", "eer")
        ],
    }  # fmt: skip


def _rating(full_w: float) -> dict[str, Any]:
    return {
        "condition": "", "capacity_w": full_w, "capacity_u95_w": 0.06 * full_w, "power_w": 700.0, "power_u95_w": 9.0,
        "eer_btu_per_wh": 9.9, "eer_u95": 0.5, "factor": 0.99, "model_u95_fraction": 0.02, "how": BECAUSE,
    }  # fmt: skip


def _copy(count: int, number: int) -> None:
    """Copy so many units with all that hangs on them."""
    from units.models import CatalogueEntry, Claim, PooledRow, PublishedPoint, Unit

    postgres = connection.vendor == "postgresql"
    key = "gen_random_uuid()" if postgres else "lower(hex(randomblob(16)))"
    whole = "(random() * 2000000000)::int" if postgres else "abs(random()) % 2000000000"
    unit, entry = Unit._meta.db_table, CatalogueEntry._meta.db_table
    of_unit = "JOIN twin ON twin.old = x.unit_id"
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS twin")
        cursor.execute(f"CREATE TEMPORARY TABLE twin AS SELECT id AS old, {key} AS new FROM {unit} LIMIT {count}")
        cursor.execute("CREATE INDEX twin_old ON twin (old)")
        named = f"x.model || '-{number}'"
        _insert(cursor, Unit, {"id": "twin.new", "model": named}, "JOIN twin ON twin.old = x.id")
        _insert(cursor, Claim, {"id": key, "unit_id": "twin.new"}, of_unit)
        for model in (Unit.tags.through, PublishedPoint):
            _insert(cursor, model, {"unit_id": "twin.new"}, of_unit)
        named = f"x.name || '-{number}'"
        _insert(cursor, CatalogueEntry, {"unit_id": "twin.new", "name": named, "stamp": whole}, of_unit)
        of_entry = (
            f"JOIN {entry} o ON o.id = x.entry_id JOIN twin ON twin.old = o.unit_id "
            f"JOIN {entry} n ON n.unit_id = twin.new AND n.audience = o.audience"
        )
        _insert(cursor, PooledRow, {"entry_id": "n.id"}, of_entry)


def _insert(cursor: Any, model: type[Model], instead: dict[str, str], joined: str) -> None:
    columns = [field.column for field in model._meta.concrete_fields if field.column != "id" or "id" in instead]
    quoted = {column: connection.ops.quote_name(column) for column in columns}
    values = ", ".join(instead.get(column, f"x.{name}") for column, name in quoted.items())
    table = model._meta.db_table
    cursor.execute(f"INSERT INTO {table} ({', '.join(quoted.values())}) SELECT {values} FROM {table} x {joined}")
