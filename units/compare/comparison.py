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
from units.compare.points import UnitRow, units_with_points
from units.compare.pooling import Together, together
from units.compare.season import Choice, costs_frame
from units.compare.surfaces import PLACES, fitted_frame
from units.compare.words import band_label
from units.models import PooledRow
from units.pooled import BANDS, RATED, PooledFigure, pooled_at
from units.quantities import METRIC, Display

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from units.models import Person

MOST_UNITS = 60
EXAMPLE = Choice()
FRAME_COLUMNS = [
    "unit", "kind", "capacity", "capacity_u95", "capacity_kind", "eer", "eer_u95", "claimed_capacity",
    "claimed_eer", "claimed_sound", "ratio", "ratio_u95", "basis", "capacity_tolerance", "eer_tolerance", "group",
    "n_points",
]  # fmt: skip
FIGURE_COLUMNS = tuple(PooledFigure.__dataclass_fields__)
TEXT = {"unit", "kind", "capacity_kind", "basis", "group"}


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
    figures: dict[UUID, PooledFigure | None]
    capacity: Together
    eer: Together
    left_out: int = 0
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
            _unit_line(row, named[row.unit.pk], figure, self._basis(figure)) | {"group": groups.get(row.unit.pk)}
            for row in self.rows
            if (figure := self.figures[row.unit.pk])
        ]
        frame = pd.DataFrame(found, columns=FRAME_COLUMNS)
        return frame.astype({name: float for name in FRAME_COLUMNS if name not in TEXT})

    def _basis(self, figure: PooledFigure) -> list[str]:
        """Say what a figure holds at."""
        if self.at == RATED:
            return list(figure.bases)
        return [f"as tested, {band_label(self.at, self.display)} outdoors"]

    def _claims(self) -> dict[UUID, float]:
        """Return the claims that the figures may be divided by: total against total, at the claim's condition."""
        return {
            row.unit.pk: claimed
            for row in self.rows
            if (claimed := row.claimed_here("capacity"))
            and (figure := self.figures[row.unit.pk])
            and figure.to_claim
            and figure.capacity_kind == "total"
        }

    @cached_property
    def digest(self) -> str:
        """A digest of all that a chart of these units can show; points are never edited, so their state will do."""
        parts: list[object] = [self.at, self.display, self.season]
        for row in self.rows:
            claims = [(name, claim.value_si, claim.condition_name) for name, claim in sorted(row.claims.items())]
            parts += [str(row.unit), row.unit.kind, claims, row.state]
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
    """Return the comparison of readable units: a few queries whatever their number."""
    asked = list(dict.fromkeys(unit_ids))
    rows = units_with_points(person, asked[:MOST_UNITS])
    basis = at if at in {band.key for band in BANDS} else RATED
    found = _compared(rows, _kept_figures(rows, basis), basis, display)
    return replace(found, season=season, left_out=max(0, len(asked) - MOST_UNITS))


def compared(rows: list[UnitRow], basis: str = RATED, display: Display = METRIC) -> Comparison:
    """Return the comparison of units and points at hand; no query."""
    return _compared(rows, {}, basis, display)


def _compared(rows: list[UnitRow], kept: dict[UUID, PooledFigure], basis: str, display: Display) -> Comparison:
    """Return the comparison; what the shelf holds of a unit is not worked out again."""
    figures = {
        row.unit.pk: pooled_at(basis, row.points, row.rating) if row.entry is None else kept.get(row.unit.pk)
        for row in rows
    }
    benches = {row.unit.pk: row.unit.bench_id for row in rows}
    side_by_side = (together(figures, benches, "capacity"), together(figures, benches, "eer"))
    return Comparison(tuple(rows), basis, display, figures, *side_by_side)


def _kept_figures(rows: list[UnitRow], basis: str) -> dict[UUID, PooledFigure]:
    """Return the figures that the shelf holds of these units."""
    entries = {row.entry.pk: row.unit.pk for row in rows if row.entry is not None}
    kept = PooledRow.objects.filter(entry__in=list(entries), at=basis).values("entry_id", *FIGURE_COLUMNS)
    return {entries[row.pop("entry_id")]: PooledFigure(**row) for row in kept}


def _unit_line(row: UnitRow, name: str, figure: PooledFigure, basis: list[str]) -> dict[str, Any]:
    """Return a unit's pooled figures beside its claims; what cannot stand beside a claim is left empty."""
    claimed = row.claimed_here("capacity") if figure.to_claim else None
    u95 = figure.capacity_u95_w
    return {
        "unit": name,
        "kind": row.unit.get_kind_display(),
        "capacity": figure.capacity_w,
        "capacity_u95": u95,
        "capacity_kind": figure.capacity_kind,
        "eer": figure.eer,
        "eer_u95": figure.eer_u95,
        "claimed_capacity": claimed,
        "claimed_eer": row.claimed_here("eer") if figure.to_claim else None,
        "claimed_sound": row.claimed("sound"),
        "ratio": figure.capacity_w / claimed if claimed else None,
        "ratio_u95": u95 / claimed if claimed else None,
        "basis": "; ".join([*basis, *_remarks(row, consistent=figure.consistent)]),
        "capacity_tolerance": figure.capacity_tolerance,
        "eer_tolerance": figure.eer_tolerance,
        "n_points": figure.n_points,
    }


def _remarks(row: UnitRow, *, consistent: bool) -> list[str]:
    """Return what a reader must know before setting the figure beside a claim or another figure."""
    other = row.claimed("capacity") is not None and row.claimed_here("capacity") is None
    remarks = (
        ("the claim is on another basis", other),
        ("repeats differ by more than they know", not consistent),
    )
    return [remark for remark, holds in remarks if holds]
