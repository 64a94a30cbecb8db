"""The points of some units, as a person may see them: published ones for all, all standing ones of one's own bench."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any
from uuid import UUID

from reduction.judge.verdict import other_basis
from reduction.session import UnitKind
from tests_app.models import Point
from units import access
from units.models import Bench, Claim, Edition, PublishedPoint, Unit
from units.shelf import BANDS, rating_of

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser
    from django.http import QueryDict

    from reduction.session import Condition
    from units.models import Person

COLUMNS = (
    "label", "room_temp_c", "room_wet_bulb_c", "room_rh_percent", "outdoor_temp_c", "capacity_w", "capacity_u95_w",
    "capacity_kind", "power_w", "power_u95_w", "eer_btu_per_wh", "eer_u95", "cop", "cop_u95", "limit",
)  # fmt: skip
DETAILS = ("ratings", "shortfall", "verdicts", "budget", "eer_budget", "k")


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
    detail: dict[str, Any] = field(repr=False)
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


@dataclass(frozen=True)
class UnitRow:
    """A unit with its claims and points."""

    unit: Unit
    claims: dict[str, Claim]
    points: tuple[PointRow, ...]
    own: bool

    @cached_property
    def rating(self) -> Condition:
        """The condition its capacity is claimed at."""
        return rating_of(self.unit, self.claims.get("capacity"))

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
    """Return the readable ones of these units, in the order asked; five queries whatever their number."""
    asked = list(dict.fromkeys(unit_ids))
    own = set(access.visible(Bench, person).values_list("pk", flat=True)) if person.is_authenticated else set()
    units = access.readable_units(person).filter(pk__in=asked).select_related("bench").prefetch_related("claims")
    found = {unit.pk: unit for unit in units}
    mine = [key for key, unit in found.items() if unit.bench_id in own]
    theirs = [key for key in found if key not in set(mine)]
    points = _points_of_bench(mine) | _published_points({key: found[key].bench_id for key in theirs})
    return [
        UnitRow(
            unit=found[key],
            claims={claim.quantity: claim for claim in reversed(found[key].claims.all())},
            points=tuple(sorted(points.get(key, []), key=lambda point: (point.measured_at, point.label))),
            own=found[key].bench_id in own,
        )
        for key in asked
        if key in found
    ]


def _points_of_bench(unit_ids: list[UUID]) -> dict[UUID, list[PointRow]]:
    if not unit_ids:
        return {}
    rows = Point.objects.current().filter(unit__in=unit_ids, usable=True)
    details = [f"detail__{name}" for name in DETAILS]
    found: dict[UUID, list[PointRow]] = {}
    for row in rows.values("id", "unit_id", "unit__bench_id", "start", "reduction__session_id", *COLUMNS, *details):
        detail = {name: row[f"detail__{name}"] for name in DETAILS}
        point = PointRow(
            id=str(row["id"]),
            unit_id=row["unit_id"],
            measured_at=row["start"],
            session_id=row["reduction__session_id"],
            bench_id=row["unit__bench_id"],
            detail=detail,
            **{name: row[name] for name in COLUMNS},
        )
        found.setdefault(point.unit_id, []).append(point)
    return found


def _published_points(benches: dict[UUID, UUID]) -> dict[UUID, list[PointRow]]:
    """Return the published points of these units, given with the bench of each."""
    if not benches:
        return {}
    found: dict[UUID, list[PointRow]] = {}
    rows = PublishedPoint.objects.filter(unit__in=list(benches), is_current=True)
    for row in rows.values("id", "unit_id", "measured_at", "edition_id", "detail", *COLUMNS).order_by():
        point = PointRow(id=f"p{row.pop('id')}", bench_id=benches[row["unit_id"]], **row)
        found.setdefault(point.unit_id, []).append(point)
    return found


def published_in(unit_ids: list[UUID]) -> list[Edition]:
    """Return the current editions that hold points of these units, without their documents."""
    current = Edition.objects.filter(points__unit__in=unit_ids, points__is_current=True).distinct()
    return list(current.select_related("review").defer("document", "html"))


def public_detail(detail: dict[str, Any]) -> dict[str, Any]:
    """Return of a point's detail what a comparison shows and nothing that names an instrument, a file or a place.

    Errors that two points share keep a common key, as a digest, so that differences are still known better than
    either figure.
    """
    kept = {name: detail[name] for name in DETAILS if name in detail}
    for budget in ("budget", "eer_budget"):
        kept[budget] = [
            {
                "name": row["name"],
                "contribution_w": row["contribution_w"],
                "shared_key": row["shared_key"] and hashlib.sha256(row["shared_key"].encode()).hexdigest()[:16],
            }
            for row in detail.get(budget) or []
        ]
    return kept
