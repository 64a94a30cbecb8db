"""What a review stands on: its units, chosen points and their sessions, read once and stripped of what is private."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from tests_app.models import Finding, Point, Reduction
from units.claims import leading, verdict_on
from units.compare.points import COLUMNS, PointRow, UnitRow, public_detail
from units.editions.privacy import SHORTEST_NOTE, Secrets, Veil
from units.models import Claim, Instrument, Person, Review, Unit

KEPT = (
    "label", "start", "end", "usable", "conditions", "capacity_w", "capacity_kind", "capacity_u_w", "capacity_u95_w",
    "sensible_w", "sensible_u95_w", "latent_w", "latent_u95_w", "shr", "power_w", "power_u95_w", "cop", "cop_u95",
    "eer_btu_per_wh", "eer_u95", "k", "dof", "interval_w", "interval_from", "terms", "budget", "eer_budget", "limit",
    "cross_checks", "ratings", "shortfall", "verdicts", "findings", "window",
)  # fmt: skip
PLACES = ("room_temp_c", "room_wet_bulb_c", "room_rh_percent", "outdoor_temp_c")


@dataclass(frozen=True)
class Material:
    """A review's units and points, in the order in which they are shown."""

    review: Review
    units: tuple[Unit, ...]
    rows: tuple[Point, ...]

    @classmethod
    def of(cls, review: Review) -> Material:
        """Read it: as many queries for one point as for a hundred."""
        units = tuple(review.units.prefetch_related("claims", "tags").order_by("maker", "model", "created_at", "id"))
        rows = review.points.select_related("reduction__session", "unit").prefetch_related("findings")
        rows = rows.order_by("start", "label", "pk")
        number = {key: int(name[1:]) for key, name in review.point_keys.items()}
        ordered = sorted(rows, key=lambda row: number.get(str(row.pk), len(number) + 1))
        return cls(review, units, tuple(ordered))

    @cached_property
    def unit_keys(self) -> dict[Any, str]:
        """Public names of the units: U1, U2."""
        return {unit.pk: f"U{i}" for i, unit in enumerate(self.units, start=1)}

    @cached_property
    def claims(self) -> dict[Any, dict[str, Claim]]:
        """The claims that each unit is compared by, one a quantity."""
        return {unit.pk: leading(unit) for unit in self.units}

    @cached_property
    def reductions(self) -> dict[str, Reduction]:
        """The reductions behind the points, by their public names: S1, S2."""
        unique = {row.reduction_id: row.reduction for row in self.rows}
        return {f"S{i}": reduction for i, reduction in enumerate(unique.values(), start=1)}

    @cached_property
    def veils(self) -> dict[Any, Veil]:
        """The veil over each reduction's sentences."""
        return {
            reduction.pk: Veil.of_session(reduction.session.name, reduction.document)
            for reduction in self.reductions.values()
        }

    @cached_property
    def points(self) -> dict[str, dict[str, Any]]:
        """The points as they are published, by their short names."""
        sessions = {reduction.pk: key for key, reduction in self.reductions.items()}
        named = {}
        for row in self.rows:
            veil = self.veils[row.reduction_id]
            point = veil.covered({name: row.detail.get(name) for name in KEPT})
            point |= {name: getattr(row, name) for name in PLACES}
            point |= {name: point[name] or [] for name in ("ratings", "shortfall", "verdicts", "cross_checks")}
            point["verdicts"] = self._leading_first(row.unit_id, point["verdicts"])
            point |= {"unit": self.unit_keys.get(row.unit_id, ""), "session": sessions[row.reduction_id]}
            named[self.review.point_keys.get(str(row.pk), f"P{len(named) + 1}")] = point
        return named

    def _leading_first(self, unit_id: Any, verdicts: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """Order verdicts so that those on the claims a unit is compared by come before those at other conditions."""
        claims = self.claims.get(unit_id, {}).items()
        first = [id(verdict_on(quantity, claim.value_si, verdicts)) for quantity, claim in claims]
        return sorted(verdicts, key=lambda one: id(one) not in first)

    @cached_property
    def findings(self) -> list[Finding]:
        """Findings of the whole reductions, not of one point; those of points stand with them."""
        return list(Finding.objects.filter(reduction__in=list(self.reductions.values()), point__isnull=True))

    @cached_property
    def severe(self) -> list[Finding]:
        """Severe findings of the points and of their sessions."""
        own = [finding for row in self.rows for finding in row.findings.all()]
        return [finding for finding in [*self.findings, *own] if finding.severity == "severe"]

    def compared_rows(self) -> list[UnitRow]:
        """Return the units with these points only, as comparison and charts read them."""
        return [
            UnitRow(
                unit,
                self.claims[unit.pk],
                tuple(self._point_row(row) for row in self.rows if row.unit_id == unit.pk),
                False,
            )
            for unit in self.units
        ]

    def _point_row(self, row: Point) -> PointRow:
        return PointRow(
            id=self.review.point_keys.get(str(row.pk), ""),
            unit_id=row.unit_id,
            measured_at=row.start,
            bench_id=self.review.bench_id,
            detail=public_detail(row.detail),
            **{name: getattr(row, name) for name in COLUMNS},
        )

    @cached_property
    def secrets(self) -> Secrets:
        """What nothing published may tell."""
        found = Secrets()
        for unit in self.units:
            found.add(unit.serial, "the unit's serial number")
            found.add(unit.notes, "a note of the bench", shortest=SHORTEST_NOTE)
        for reduction in self.reductions.values():
            for log in reduction.document.get("files", ()):
                found.add(log["path"], "the name of a log file")
            found.add(reduction.document.get("notes", ""), "a note of the bench", shortest=SHORTEST_NOTE)
            found.add(str(reduction.pk), "an id of the bench")
            found.add(str(reduction.session_id), "an id of the bench")
        for serial in Instrument.objects.filter(bench=self.review.bench).values_list("serial", flat=True):
            found.add(serial, "an instrument's serial number")
        for person in Person.objects.filter(memberships__bench=self.review.bench):
            found.add(person.email, "a person's address")
        return found
