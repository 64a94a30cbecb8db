"""The points of some units, as a person may see them: published ones for all, all standing ones of one's own bench."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import Q

from reduction.judge.verdict import other_basis
from reduction.session import UnitKind
from tests_app.models import Point
from units import access
from units.claims import leading
from units.models import Bench, CatalogueEntry, Claim, Edition, PublishedPoint, Unit
from units.pooled import BANDS, POOLING
from units.shelf import rating_of

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser
    from django.http import QueryDict

    from reduction.session import Condition
    from units.models import Person

COLUMNS = (
    "label", "room_temp_c", "room_wet_bulb_c", "room_rh_percent", "outdoor_temp_c", "capacity_w", "capacity_u95_w",
    "capacity_kind", "power_w", "power_u95_w", "eer_btu_per_wh", "eer_u95", "cop", "cop_u95", "limit",
)  # fmt: skip
DETAILS = ("ratings", "shortfall", "verdicts", "budget", "eer_budget", "k", "ducted")


@dataclass(frozen=True)
class PointRow:
    """One point as the pages and charts read it; SI."""

    id: str
    unit_id: UUID
    label: str
    measured_at: datetime
    room_temp_c: float | None
    room_wet_bulb_c: float | None
    room_rh_percent: float | None
    outdoor_temp_c: float | None
    capacity_w: float
    capacity_u95_w: float
    capacity_kind: str
    power_w: float
    power_u95_w: float
    eer_btu_per_wh: float | None
    eer_u95: float | None
    cop: float | None
    cop_u95: float | None
    limit: str
    bench_id: UUID
    detail: Mapping[str, Any] = field(repr=False)
    session_id: UUID | None = None
    edition_id: UUID | None = None

    @property
    def band(self) -> str:
        """Key of the band of outdoor temperature the point was tested in; empty where that was not measured."""
        return next((band.key for band in BANDS if band.holds(self.outdoor_temp_c)), "")

    @property
    def title(self) -> str:
        """Its name and day, as charts and tables write it."""
        return f"{self.label}, {self.measured_at:%-d %b %Y}"

    @property
    def ratings(self) -> list[dict[str, Any]]:
        """Its corrections to rating conditions."""
        return self.detail.get("ratings") or []


class Later:
    """Something about many units that is read once, for all of them, when it is first asked for of one."""

    def __init__(self, read: Callable[[], dict[Any, Any]]) -> None:
        self._read = read

    @cached_property
    def found(self) -> dict[Any, Any]:
        """What was read, by key."""
        return self._read()


@dataclass(frozen=True)
class LaterPoints(Sequence[PointRow]):
    """A unit's points, read with those of the other units."""

    source: Later
    key: UUID

    def __len__(self) -> int:
        return len(self.source.found.get(self.key, ()))

    def __getitem__(self, index: Any) -> Any:
        return self.source.found.get(self.key, ())[index]


@dataclass(frozen=True)
class LaterDetail(Mapping[str, Any]):
    """What a point carries beside its figures, read with that of the other points."""

    source: Later
    key: Any

    def __getitem__(self, name: str) -> Any:
        return self.source.found[self.key][name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.source.found[self.key])

    def __len__(self) -> int:
        return len(self.source.found[self.key])


@dataclass(frozen=True)
class UnitRow:
    """A unit with its claims and points, and its row on the shelf where that is fit to be read."""

    unit: Unit
    claims: dict[str, Claim]
    points: Sequence[PointRow]
    own: bool
    entry: CatalogueEntry | None = None

    @cached_property
    def rating(self) -> Condition:
        """The condition its capacity is claimed at."""
        return rating_of(self.unit, self.claims.get("capacity"))

    @property
    def has_points(self) -> bool:
        """Say whether anything was measured, without reading the points."""
        return bool(self.points if self.entry is None else self.entry.point_count)

    @property
    def is_explained(self) -> bool:
        """Say whether a shortfall is explained, without reading the points."""
        if self.entry is not None:
            return self.entry.explained
        return any(point.detail.get("shortfall") for point in self.points)

    @property
    def state(self) -> list[Any]:
        """What changes whenever the points do."""
        return [point.id for point in self.points] if self.entry is None else [self.entry.stamp]

    def claimed(self, quantity: str) -> float | None:
        """Return a claim in SI, or None."""
        claim = self.claims.get(quantity)
        return None if claim is None else claim.value_si

    def claimed_here(self, quantity: str) -> float | None:
        """Return a claim that a heat balance in a room can be set against, or None."""
        return None if other_basis(quantity, UnitKind(self.unit.kind)) else self.claimed(quantity)


def asked_units(query: QueryDict) -> list[UUID]:
    """Return the units that an address names; what is no key is left out."""
    keys = []
    for text in query.getlist("unit"):
        try:
            keys.append(UUID(text))
        except ValueError:
            continue
    return list(dict.fromkeys(keys))


def units_with_points(person: Person | AnonymousUser, unit_ids: Iterable[UUID]) -> list[UnitRow]:
    """Return the readable ones of these units, in the order asked; a few queries whatever their number."""
    asked = list(dict.fromkeys(unit_ids))
    own = set(access.visible(Bench, person).values_list("pk", flat=True)) if person.is_authenticated else set()
    units = access.readable_units(person).filter(pk__in=asked).select_related("bench").prefetch_related("claims")
    found = {unit.pk: unit for unit in units}
    mine = [key for key, unit in found.items() if unit.bench_id in own]
    theirs = {key: unit.bench_id for key, unit in found.items() if unit.bench_id not in own}
    points, entries = Later(lambda: _points_of_bench(mine) | _published_points(theirs)), _entries(mine, list(theirs))
    return [
        UnitRow(
            unit=found[key],
            claims=leading(found[key]),
            points=LaterPoints(points, key),
            own=found[key].bench_id in own,
            entry=entries.get(key),
        )
        for key in asked
        if key in found
    ]


def _entries(mine: list[UUID], theirs: list[UUID]) -> dict[UUID, CatalogueEntry]:
    """Return the units' rows on the shelf for who asks; one that older code made is left out."""
    own = Q(unit__in=mine, audience=CatalogueEntry.Audience.BENCH)
    public = Q(unit__in=theirs, audience=CatalogueEntry.Audience.PUBLIC)
    rows = CatalogueEntry.objects.filter(own | public, pooling=POOLING)
    return {entry.unit_id: entry for entry in rows.only("unit_id", "point_count", "explained", "stamp").order_by()}


def _points_of_bench(unit_ids: list[UUID]) -> dict[UUID, list[PointRow]]:
    if not unit_ids:
        return {}
    rows = Point.objects.current().filter(unit__in=unit_ids, usable=True)
    details = Later(lambda: _details(rows.values_list("pk", *(f"detail__{name}" for name in DETAILS))))
    columns = rows.values("id", "unit_id", "unit__bench_id", "start", "reduction__session_id", *COLUMNS)
    return _by_unit(
        PointRow(
            id=str(row["id"]),
            unit_id=row["unit_id"],
            measured_at=row["start"],
            session_id=row["reduction__session_id"],
            bench_id=row["unit__bench_id"],
            detail=LaterDetail(details, row["id"]),
            **{name: row[name] for name in COLUMNS},
        )
        for row in columns
    )


def _details(rows: Iterable[tuple[Any, ...]]) -> dict[Any, dict[str, Any]]:
    return {key: dict(zip(DETAILS, parts, strict=True)) for key, *parts in rows}


def _published_points(benches: dict[UUID, UUID]) -> dict[UUID, list[PointRow]]:
    """Return the published points of these units, given with the bench of each."""
    if not benches:
        return {}
    rows = PublishedPoint.objects.filter(unit__in=list(benches), is_current=True).order_by()
    details = Later(lambda: dict(rows.values_list("pk", "detail")))
    return _by_unit(
        PointRow(
            id=f"p{key}",
            bench_id=benches[row["unit_id"]],
            detail=LaterDetail(details, key),
            **row,
        )
        for row in rows.values("id", "unit_id", "measured_at", "edition_id", *COLUMNS)
        for key in [row.pop("id")]
    )


def _by_unit(points: Iterable[PointRow]) -> dict[UUID, list[PointRow]]:
    found: dict[UUID, list[PointRow]] = {}
    for point in sorted(points, key=lambda point: (point.measured_at, point.label)):
        found.setdefault(point.unit_id, []).append(point)
    return found


def published_in(unit_ids: list[UUID]) -> list[Edition]:
    """Return the current editions that hold points of these units, without their documents."""
    current = Edition.objects.filter(points__unit__in=unit_ids, points__is_current=True).distinct()
    rows = current.select_related("review").defer("document", "html")
    return list(rows.order_by("-published_at", "review__slug"))


def public_detail(detail: dict[str, Any]) -> dict[str, Any]:
    """Return of a point's detail what a comparison shows and nothing that names an instrument, a file or a place.

    Errors that two points may share keep a common key, as a digest, so that differences are still known better than
    either figure; what only this point has is in its U.
    """
    kept = {name: detail[name] for name in DETAILS if name in detail}
    for budget in ("budget", "eer_budget"):
        kept[budget] = [
            {
                "contribution_w": row["contribution_w"],
                "shared_key": hashlib.sha256(row["shared_key"].encode()).hexdigest()[:16],
            }
            for row in detail.get(budget) or []
            if row["shared_key"]
        ]
    return kept
