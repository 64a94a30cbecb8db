"""The whole ledger looked at: what must hold of a tester's side, and of what is published from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import isclose
from typing import Any

from django.core.files.storage import default_storage
from django.utils.dateparse import parse_datetime

from tests_app.actions import ledger
from tests_app.actions.ledger import WELL, rows_of
from units import shelf
from units.actions.editions import SAME_IN_POINT
from units.editions.read import parsed
from units.editions.verify import verify
from units.models import (
    Bench,
    CalibrationRecord,
    CatalogueEntry,
    Edition,
    PooledRow,
    PublishedPoint,
    Review,
    Unit,
)
from units.pooled import POOLING

AT_ONCE = 200


@dataclass(frozen=True)
class Looked:
    """One invariant: at how many things it was looked, and what was found wrong."""

    invariant: str
    looked_at: int
    faults: tuple[str, ...]


def check() -> Iterator[Looked]:
    """Check every invariant; nothing is changed."""
    for invariant, look in (ledger.CHECKS | CHECKS).items():
        said = list(look())
        faults = tuple(one for one in said if one != WELL)
        yield Looked(invariant, len(said), faults)


def left_over() -> list[str]:
    """Return what processes that died left behind; it costs space and changes nothing."""
    return list(ledger.left_over())


def editions_are_frozen(bench: Bench | None = None) -> Iterator[str]:
    """Each edition's document hashes to its digest, is canonical, and its published tables are kept."""
    for edition in rows_of(Edition, bench).select_related("review", "supersedes").order_by("review__slug", "number"):
        name = f"{edition.review.slug}, edition {edition.number}"
        broken = [one for one in verify(edition, points=False) if one.proved is not True]
        yield from (f"{name}: its {one.what} does not hold ({one.said})" for one in broken)
        yield WELL


def editions_are_numbered(bench: Bench | None = None) -> Iterator[str]:
    """A review's editions are numbered from one without a gap, each superseding the one before."""
    for review in rows_of(Review, bench).filter(editions__isnull=False).distinct().order_by("slug"):
        rows = list(review.editions.order_by("number").defer("document", "html"))
        numbers = [row.number for row in rows]
        if numbers != list(range(1, len(rows) + 1)):
            yield f"{review.slug}: editions {numbers}"
        chained = rows[0].supersedes_id is None and all(b.supersedes_id == a.pk for a, b in pairwise(rows))
        yield WELL if chained else f"{review.slug}: an edition does not supersede the one before it"


def published_points_are_their_editions(bench: Bench | None = None) -> Iterator[str]:
    """The public table says of each edition's points what its document says, and nothing else."""
    editions = rows_of(Edition, bench).select_related("review").prefetch_related("points")
    for edition in editions.order_by("review__slug"):
        name = f"{edition.review.slug}, edition {edition.number}"
        told = Counter(_told(point) for point in parsed(edition)["points"].values())
        rows = Counter(_shown(row) for row in edition.points.all())
        yield from (f"{name}, point {label}: in the table it is not as in the document" for _, label, *_ in rows - told)
        yield from (f"{name}, point {label}: the table does not hold it as it stands" for _, label, *_ in told - rows)
        yield from [WELL] * rows.total()


def _shown(row: PublishedPoint) -> tuple[Any, ...]:
    return row.measured_at, *(getattr(row, field) for field in SAME_IN_POINT)


def _told(point: dict[str, Any]) -> tuple[Any, ...]:
    flat = point | {"limit": point["limit"]["verdict"]}
    return parse_datetime(point["start"]), *(flat[field] for field in SAME_IN_POINT)


def what_stands_is_shown(bench: Bench | None = None) -> Iterator[str]:
    """A published point is current only in the last edition of a review that is not withdrawn."""
    current = rows_of(PublishedPoint, bench).filter(is_current=True)
    standing = current.filter(edition__superseded_by__isnull=True, edition__review__withdrawal__isnull=True)
    gone = current.exclude(pk__in=standing).select_related("edition__review")
    yield from (f"{row.edition.review.slug}: point {row.label} of edition {row.edition.number} stands" for row in gone)
    yield from [WELL] * standing.count()


def certificates_are_kept(bench: Bench | None = None) -> Iterator[str]:
    """A calibration's certificate is in the store."""
    for record in rows_of(CalibrationRecord, bench).exclude(certificate="").order_by("pk"):
        kept = default_storage.exists(record.certificate.name)
        yield WELL if kept else f"certificate {record.certificate.name}: gone"


def the_shelf_is_what_stands(bench: Bench | None = None) -> Iterator[str]:
    """Every row of the catalogue and every pooled figure beside it is what the points that stand give."""
    keys = list(rows_of(Unit, bench).order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(keys), AT_ONCE):
        some = keys[start : start + AT_ONCE]
        kept = CatalogueEntry.objects.filter(unit__in=some, pooling=POOLING).prefetch_related("pooled")
        held = {(entry.unit_id, entry.audience): _contents(entry, entry.pooled.all()) for entry in kept}
        due = {(entry.unit_id, entry.audience): _contents(entry, pooled) for entry, pooled in shelf.derived(some)}
        for key in sorted(held.keys() | due.keys(), key=str):
            good = key in held and key in due and _alike(held[key], due[key])
            yield WELL if good else f"unit {key[0]}: its {key[1]} row is not what its points give"


def _contents(entry: CatalogueEntry, pooled: Iterable[PooledRow]) -> dict[str, Any]:
    """Return what a row and its figures say, without what differs each time they are made."""
    found = {field.attname: getattr(entry, field.attname) for field in CatalogueEntry._meta.concrete_fields}
    for row in pooled:
        found |= {f"{row.at} {field.attname}": getattr(row, field.attname) for field in row._meta.concrete_fields[2:]}
    return {name: value for name, value in found.items() if name not in {"id", "stamp"}}


def _alike(one: Any, other: Any) -> bool:
    """Say whether two are equal, numbers to within what another machine's arithmetic may give."""
    if isinstance(one, float) and isinstance(other, float):
        return isclose(one, other, rel_tol=1e-9)
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(one[name], other[name]) for name in one)
    return bool((list(one) == list(other)) if isinstance(one, tuple | list) else one == other)


def faults_of(bench: Bench) -> Iterator[str]:
    """Yield what does not hold of one bench that came in whole: no upload or task came with it."""
    for look in (*ledger.OF_A_BENCH, *CHECKS.values()):
        yield from (said for said in look(bench) if said != WELL)


CHECKS = {
    "editions are frozen": editions_are_frozen,
    "editions are numbered": editions_are_numbered,
    "published points are their editions": published_points_are_their_editions,
    "what stands is shown": what_stands_is_shown,
    "certificates are kept": certificates_are_kept,
    "the shelf is what stands": the_shelf_is_what_stands,
}
