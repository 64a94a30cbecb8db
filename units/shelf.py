"""Keeps the catalogue's shelf: called by whoever changes a unit, its points or what is published of it.

One row stands for many points. Those at the claim's rating condition, or brought there, are shown as one pooled
figure, the one that a comparison and the unit's page show too. Without any the point nearest to that condition
stands as it was tested, and is not compared with the claim.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction

from reduction import session as doc
from reduction.judge.claims import default_condition
from reduction.judge.verdict import other_basis
from units.claims import leading
from units.models import CatalogueEntry, Claim, PooledRow, PublishedPoint, Unit
from units.pooled import BANDS, BASES, POOLING, RATED, PooledFigure, best_known, like, pooled

if TYPE_CHECKING:
    from uuid import UUID

    from reduction.session import Condition

AT_ONCE = 500  # units, so that neither memory nor the locks' time grows with the catalogue
CAPACITY_EDGES_W = (1800.0, 2500.0, 3200.0, 4000.0, 5300.0)  # about 6, 8.5, 11, 13.5 and 18 thousand Btu/h
PRICE_EDGES = (200, 400, 700, 1200)
SOUND_EDGES_DBA = (45, 50, 55, 60)


@dataclass(frozen=True)
class Told:
    """A point as the shelf reads it, of either audience."""

    room_temp_c: float | None
    outdoor_temp_c: float | None
    capacity_w: float
    capacity_u95_w: float
    capacity_kind: str
    eer_btu_per_wh: float | None
    eer_u95: float | None
    limit: str
    detail: dict[str, Any]


COLUMNS = tuple(name for name in Told.__dataclass_fields__ if name != "detail")
DETAILS = ("ratings", "shortfall", "verdicts", "budget", "eer_budget")


@transaction.atomic
def refresh(units: Iterable[Unit]) -> list[CatalogueEntry]:
    """Make the rows of these units anew, with as many queries for one unit as for a thousand.

    They are worked out before the units are locked, and again only where something came in between. The lock is
    taken always in one order, so that two workers with sessions of one unit store one after the other; it is the
    weaker one, which lets others go on to name the unit in rows of theirs.
    """
    keys = [unit.pk for unit in units]
    seen = _stamps(keys)
    made = derived(keys)
    list(Unit.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk").values_list("pk"))
    if _stamps(keys) != seen:
        made = derived(keys)
    CatalogueEntry.objects.filter(unit__in=keys).delete()
    entries = CatalogueEntry.objects.bulk_create([entry for entry, _ in made], batch_size=500)
    PooledRow.objects.bulk_create([row for _, rows in made for row in rows], batch_size=500)
    return entries


def _stamps(unit_ids: list[UUID]) -> list[int]:
    """Return the stamps of the rows that stand; whoever changes what they are made from makes them anew."""
    return list(CatalogueEntry.objects.filter(unit__in=unit_ids).order_by("stamp").values_list("stamp", flat=True))


def renew() -> None:
    """Make the rows anew that code of another way of pooling made, some units at a time."""
    old = CatalogueEntry.objects.exclude(pooling=POOLING).order_by("unit").values_list("unit", flat=True).distinct()
    keys = list(old)
    for start in range(0, len(keys), AT_ONCE):
        refresh(Unit.objects.filter(pk__in=keys[start : start + AT_ONCE]))


def derived(unit_ids: Iterable[UUID]) -> list[tuple[CatalogueEntry, list[PooledRow]]]:
    """Return the rows that the shelf should hold of these units, made from what stands; nothing is written."""
    keys = list(unit_ids)
    bench, public = _bench_points(keys), _published_points(keys)
    made = []
    for unit in Unit.objects.filter(pk__in=keys).prefetch_related("claims", "tags"):
        made.append(_rows(unit, CatalogueEntry.Audience.BENCH, bench.get(unit.pk, [])))
        if unit.pk in public:
            made.append(_rows(unit, CatalogueEntry.Audience.PUBLIC, public[unit.pk]))
    return made


def _bench_points(unit_ids: list[UUID]) -> dict[UUID, list[Told]]:
    """Return the usable points of the newest reductions, by unit."""
    model = Unit._meta.get_field("points").related_model
    rows = model.objects.current().filter(unit__in=unit_ids, usable=True).order_by("start", "label")
    found: dict[UUID, list[Told]] = {}
    for unit, *values in rows.values_list("unit_id", *COLUMNS, *(f"detail__{name}" for name in DETAILS)):
        detail = dict(zip(DETAILS, values[len(COLUMNS) :], strict=True))
        found.setdefault(unit, []).append(Told(*values[: len(COLUMNS)], detail))
    return found


def _published_points(unit_ids: list[UUID]) -> dict[UUID, list[Told]]:
    """Return the published points that stand, by unit."""
    rows = PublishedPoint.objects.filter(unit__in=unit_ids, is_current=True).order_by("measured_at", "label")
    found: dict[UUID, list[Told]] = {}
    for unit, *values in rows.values_list("unit_id", *COLUMNS, "detail"):
        found.setdefault(unit, []).append(Told(*values))
    return found


def _rows(unit: Unit, audience: str, points: list[Told]) -> tuple[CatalogueEntry, list[PooledRow]]:
    claims = leading(unit)
    rating = rating_of(unit, claims.get("capacity"))
    found = {at: figures for at in BASES if (figures := like(at, points, rating))}
    one = {at: pooled(figures) for at, figures in found.items()}
    entry = _entry(unit, claims, audience, points, rating, one.get(RATED))
    head = best_known(found.get(RATED, []))
    entry.explained = bool(head and head.detail.get("shortfall"))
    return entry, [PooledRow(entry=entry, at=at, **vars(figure)) for at, figure in one.items()]


def _entry(
    unit: Unit,
    claims: dict[str, Claim],
    audience: str,
    points: list[Told],
    rating: Condition,
    figure: PooledFigure | None,
) -> CatalogueEntry:
    capacity, eer = claims.get("capacity"), claims.get("eer")
    comparable = figure is not None and not other_basis("capacity", doc.UnitKind(unit.kind))
    claimed = capacity.value_si if capacity and comparable else None
    return CatalogueEntry(
        unit=unit,
        bench_id=unit.bench_id,
        audience=audience,
        name=str(unit),
        search=search_text(unit),
        tags="".join(["|", *(f"{tag}|".replace("|", "/", str(tag).count("|")) for tag in unit.tags.all())]),
        **{name: getattr(unit, name) for name in ("kind", "compressor", "refrigerant", "obtained", "is_synthetic")},
        **_classes(unit, claims),
        bands=sum(1 << i for i, band in enumerate(BANDS) if any(band.holds(point.outdoor_temp_c) for point in points)),
        claimed_capacity_w=capacity.value_si if capacity else None,
        claimed_eer=eer.value_si if eer else None,
        **_shown(figure, points, rating),
        ratio=figure.capacity_w / claimed if figure and claimed else None,
        ratio_u95=figure.capacity_u95_w / claimed if figure and claimed else None,
        comparable=comparable,
        point_count=len(points),
        pooling=POOLING,
    )


def _shown(figure: PooledFigure | None, points: list[Told], rating: Condition) -> dict[str, Any]:
    """Return the columns with the figure to show: pooled at the claim's condition, else of the nearest point.

    Of points that are as near to a kelvin the best known is shown.
    """
    if figure is not None:
        kept = ("capacity_w", "capacity_u95_w", "capacity_kind", "eer", "eer_u95", "corrected")
        return {name: getattr(figure, name) for name in kept}

    def distance(point: Told) -> float:
        pairs = ((point.room_temp_c, rating.room_temp_c), (point.outdoor_temp_c, rating.outdoor_temp_c))
        return sum(abs(a - b) if a is not None and b is not None else 100.0 for a, b in pairs)

    nearest = min(points, key=lambda point: (round(distance(point)), point.capacity_u95_w), default=None)
    if nearest is None:
        return {}
    kept = ("capacity_w", "capacity_u95_w", "capacity_kind", "eer_u95", "room_temp_c", "outdoor_temp_c")
    return {name: getattr(nearest, name) for name in kept} | {"eer": nearest.eer_btu_per_wh}


def rating_of(unit: Unit, claim: Claim | None) -> Condition:
    """Return the condition a claim is stated at, or what units of the kind are rated at where it states none."""
    if claim is None or claim.outdoor_temp_c is None:
        return default_condition(doc.UnitKind(unit.kind))
    return doc.Condition(
        name=claim.condition_name,
        room_temp_c=claim.room_temp_c,
        room_wet_bulb_c=claim.room_wet_bulb_c,
        outdoor_temp_c=claim.outdoor_temp_c,
    )


def search_text(unit: Unit) -> str:
    """Return what a search looks in."""
    words = [unit.maker, unit.model, unit.refrigerant, unit.get_kind_display(), *map(str, unit.tags.all())]
    return " ".join(words).lower()


def _classes(unit: Unit, claims: dict[str, Claim]) -> dict[str, str]:
    capacity, sound = claims.get("capacity") or claims.get("sacc"), claims.get("sound")
    return {
        "capacity_class": between(capacity.value_si if capacity else None, CAPACITY_EDGES_W),
        "voltage_class": f"{unit.voltage_v:g}" if unit.voltage_v else "",
        "price_class": between(unit.price, PRICE_EDGES, unit.price_currency),
        "sound_class": between(sound.value_si if sound else None, SOUND_EDGES_DBA),
    }


def between(value: Any, edges: tuple[float, ...], prefix: str = "") -> str:
    """Return the class a value falls in, as `low-high`; open ends are empty, no value is an empty class.

    >>> between(2344.6, CAPACITY_EDGES_W), between(150, PRICE_EDGES, "EUR"), between(None, PRICE_EDGES)
    ('1800-2500', 'EUR:-200', '')
    """
    if value is None:
        return ""
    low = max((edge for edge in edges if value >= edge), default=None)
    high = min((edge for edge in edges if value < edge), default=None)
    written = "-".join("" if edge is None else f"{edge:g}" for edge in (low, high))
    return f"{prefix}:{written}" if prefix else written
