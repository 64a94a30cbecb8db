"""Some units side by side, on a stated basis: at the claim's rating condition, or as tested in a band."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any
from uuid import UUID

import pandas as pd

from units.compare.frames import matrix_frame, names, points_frame, steps_frame
from units.compare.points import PointRow, UnitRow, units_with_points
from units.compare.pooling import U95_PER_U, Together, together
from units.compare.season import Choice, costs_frame
from units.compare.surfaces import PLACES, fitted_frame
from units.compare.words import band_label
from units.quantities import METRIC, Display
from units.shelf import BANDS, PART_LOAD, is_near, rating_among

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from units.models import Person

MOST_UNITS = 60
EXAMPLE = Choice()
RATED = "rating"
FRAME_COLUMNS = [
    "unit", "kind", "capacity", "capacity_u95", "capacity_kind", "eer", "eer_u95", "claimed_capacity",
    "claimed_eer", "claimed_sound", "ratio", "ratio_u95", "basis", "capacity_tolerance", "eer_tolerance", "group",
    "n_points",
]  # fmt: skip
TEXT = {"unit", "kind", "capacity_kind", "basis", "group"}


@dataclass(frozen=True)
class Figure:
    """What one point says on a basis."""

    capacity_w: float
    capacity_u95_w: float
    capacity_kind: str
    eer: float | None
    eer_u95: float | None
    basis: str
    to_claim: bool
    point: PointRow


class Frames(dict[str, pd.DataFrame]):
    """The frames of a comparison by name; a chart that is not drawn costs nothing."""

    def __init__(self, comparison: Comparison) -> None:
        super().__init__()
        rows = list(comparison.rows)
        self.makers: dict[str, Callable[[], pd.DataFrame]] = {
            "units": lambda: comparison.units_frame,
            "points": lambda: points_frame(rows),
            **{place: partial(fitted_frame, rows, names(rows), place) for place in PLACES},
            "matrix": lambda: matrix_frame(rows, comparison.display),
            "steps": lambda: steps_frame(rows),
            "costs": lambda: costs_frame(rows, names(rows), comparison.season),
        }

    def __missing__(self, name: str) -> pd.DataFrame:
        """Make a frame."""
        self[name] = self.makers[name]()
        return self[name]


@dataclass(frozen=True)
class Comparison:
    """What the page shows: the units in the order asked, and the frames its charts read."""

    rows: tuple[UnitRow, ...]
    at: str
    display: Display
    figures: dict[UUID, tuple[Figure, ...]]
    capacity: Together
    eer: Together
    left_out: int
    season: Choice = EXAMPLE

    @cached_property
    def frames(self) -> Frames:
        """The tables that charts read, each made when it is first asked for."""
        return Frames(self)

    @cached_property
    def units_frame(self) -> pd.DataFrame:
        """Return one row a unit that has a figure on this basis; a unit without one is not filled in."""
        named = names(list(self.rows))
        groups = self.capacity.groups(self._claims())
        found = [
            _unit_line(row, named[row.unit.pk], self) | {"group": groups.get(row.unit.pk)}
            for row in self.rows
            if self.figures[row.unit.pk]
        ]
        frame = pd.DataFrame(found, columns=FRAME_COLUMNS)
        return frame.astype({name: float for name in FRAME_COLUMNS if name not in TEXT})

    def _claims(self) -> dict[UUID, float]:
        """Return the claims that the figures may be divided by: total against total, at the claim's condition."""
        return {
            row.unit.pk: claimed
            for row in self.rows
            if (claimed := row.claimed_here("capacity"))
            and (figures := self.figures[row.unit.pk])
            and all(figure.to_claim and figure.capacity_kind == "total" for figure in figures)
        }

    @cached_property
    def digest(self) -> str:
        """A digest of all that a chart of these units can show; points are never edited, so their keys will do."""
        parts: list[object] = [self.at, self.display, self.season]
        for row in self.rows:
            claims = [(name, claim.value_si, claim.condition_name) for name, claim in sorted(row.claims.items())]
            parts += [str(row.unit), row.unit.kind, claims, [point.id for point in row.points]]
        return hashlib.sha256(repr(parts).encode()).hexdigest()

    @property
    def without_figure(self) -> list[UnitRow]:
        """Units that were asked for and have nothing to show on this basis."""
        return [row for row in self.rows if not self.figures[row.unit.pk]]


def compare(
    person: Person | AnonymousUser,
    unit_ids: Iterable[UUID],
    at: str = RATED,
    display: Display = METRIC,
    season: Choice = EXAMPLE,
) -> Comparison:
    """Return the comparison of readable units: five queries whatever their number."""
    asked = list(dict.fromkeys(unit_ids))
    rows = units_with_points(person, asked[:MOST_UNITS])
    basis = at if at in {band.key for band in BANDS} else RATED
    found = compared(rows, basis, display, left_out=max(0, len(asked) - MOST_UNITS))
    return replace(found, season=season)


def compared(rows: list[UnitRow], basis: str = RATED, display: Display = METRIC, *, left_out: int = 0) -> Comparison:
    """Return the comparison of units and points at hand; no query."""
    figures = {row.unit.pk: tuple(_figures(row, basis, display)) for row in rows}
    pooled = (together(figures, "capacity"), together(figures, "eer"))
    return Comparison(tuple(rows), basis, display, figures, *pooled, left_out)


def _figures(row: UnitRow, at: str, display: Display) -> list[Figure]:
    """Return the like figures of a unit's points on the basis, so that none is pooled with one of another meaning.

    Total capacities stand before sensible ones, and points at the unit's full ability before those it held back in.
    """
    made = [_rated(row, point) if at == RATED else _tested(row, point, at, display) for point in row.points]
    figures = [figure for figure in made if figure is not None]
    figures = [figure for figure in figures if figure.point.limit not in PART_LOAD] or figures
    return [figure for figure in figures if figure.capacity_kind == "total"] or figures


def _rated(row: UnitRow, point: PointRow) -> Figure | None:
    rated = rating_among(point.ratings, row.rating)
    if rated is not None:
        return _figure(point, rated, f"corrected to {rated['condition']}", to_claim=True)
    if point.limit not in PART_LOAD and is_near(point.room_temp_c, point.outdoor_temp_c, row.rating):
        return _figure(point, None, "tested at the rating condition", to_claim=True)
    return None


def _tested(row: UnitRow, point: PointRow, at: str, display: Display) -> Figure | None:
    if point.band != at:
        return None
    near = point.limit not in PART_LOAD and is_near(point.room_temp_c, point.outdoor_temp_c, row.rating)
    return _figure(point, None, f"as tested, {band_label(at, display)} outdoors", to_claim=near)


def _figure(point: PointRow, rated: dict[str, Any] | None, basis: str, *, to_claim: bool) -> Figure:
    source = rated or {
        name: getattr(point, name) for name in ("capacity_w", "capacity_u95_w", "eer_btu_per_wh", "eer_u95")
    }
    return Figure(
        capacity_w=source["capacity_w"],
        capacity_u95_w=source["capacity_u95_w"],
        capacity_kind=point.capacity_kind,
        eer=source["eer_btu_per_wh"],
        eer_u95=source["eer_u95"],
        basis=basis,
        to_claim=to_claim,
        point=point,
    )


def _unit_line(row: UnitRow, name: str, all_units: Comparison) -> dict[str, Any]:
    """Return a unit's pooled figures beside its claims; what cannot stand beside a claim is left empty."""
    key, figures = row.unit.pk, all_units.figures[row.unit.pk]
    capacity, eer = all_units.capacity.pooled[key], all_units.eer.pooled.get(key)
    to_claim = all(figure.to_claim for figure in figures)
    claimed = row.claimed_here("capacity") if to_claim else None
    bases = list(dict.fromkeys(figure.basis for figure in figures))
    return {
        "unit": name,
        "kind": row.unit.get_kind_display(),
        "capacity": capacity.value,
        "capacity_u95": U95_PER_U * capacity.u,
        "capacity_kind": figures[0].capacity_kind,
        "eer": eer.value if eer else None,
        "eer_u95": U95_PER_U * eer.u if eer else None,
        "claimed_capacity": claimed,
        "claimed_eer": row.claimed_here("eer") if to_claim else None,
        "claimed_sound": row.claimed("sound"),
        "ratio": capacity.value / claimed if claimed else None,
        "ratio_u95": U95_PER_U * capacity.u / claimed if claimed else None,
        "basis": "; ".join([*bases, *_remarks(row, consistent=capacity.consistent)]),
        "capacity_tolerance": _tolerance(figures[0].point, "capacity"),
        "eer_tolerance": _tolerance(figures[0].point, "eer"),
        "n_points": len(figures),
    }


def _remarks(row: UnitRow, *, consistent: bool) -> list[str]:
    """Return what a reader must know before setting the figure beside a claim or another figure."""
    other = row.claimed("capacity") is not None and row.claimed_here("capacity") is None
    remarks = (
        ("the claim is on another basis", other),
        ("repeats differ by more than they know", not consistent),
    )
    return [remark for remark, holds in remarks if holds]


def _tolerance(point: PointRow, quantity: str) -> float | None:
    verdicts = point.detail.get("verdicts") or []
    return next((verdict["tolerance"] for verdict in verdicts if verdict["quantity"] == quantity), None)
