"""What a later reduction says that an earlier one did not: point by point, in units of the U that was stated."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf
from uuid import UUID

from tests_app.models import Job, Point, Reduction, Session

FIGURES = {
    "capacity": ("capacity_w", "capacity_u95_w"),
    "power": ("power_w", "power_u95_w"),
    "eer": ("eer_btu_per_wh", "eer_u95"),
}


@dataclass(frozen=True)
class FigureChange:
    """One figure before and after, each with its U95; `in_u` is the change over the U95 that was stated before."""

    before: float
    before_u95: float
    after: float
    after_u95: float

    @property
    def change(self) -> float:
        """After less before."""
        return self.after - self.before

    @property
    def in_u(self) -> float | None:
        """The change in units of U, None where none was stated."""
        return self.change / self.before_u95 if self.before_u95 else None

    @property
    def beyond_u(self) -> bool:
        """Whether the earlier statement did not cover what is said now."""
        return abs(self.change) > self.before_u95

    @property
    def is_seen(self) -> bool:
        """Whether the value or what is stated about it moved by a hundredth of what was stated, or more."""
        least = 0.01 * self.before_u95
        return abs(self.change) >= least or abs(self.after_u95 - self.before_u95) >= least


@dataclass(frozen=True)
class PointChange:
    """One window in both reductions; `before` or `after` is None where only one has it."""

    before: Point | None
    after: Point | None

    @property
    def label(self) -> str:
        """The window's name."""
        return str(self.after or self.before)

    @property
    def counts(self) -> bool:
        """Whether either reduction took the window for a result; a room that is asked has none."""
        return any(point is not None and point.usable for point in (self.before, self.after))

    @property
    def figures(self) -> dict[str, FigureChange]:
        """The figures that both have."""
        if self.before is None or self.after is None:
            return {}
        both = {
            name: [getattr(point, field) for point in (self.before, self.after) for field in fields]
            for name, fields in FIGURES.items()
        }
        return {name: FigureChange(*values) for name, values in both.items() if None not in values}

    @property
    def moved(self) -> dict[str, FigureChange]:
        """The figures that a reader would see move."""
        return {name: change for name, change in self.figures.items() if change.is_seen}

    @property
    def beyond_u(self) -> bool:
        """Whether any figure moved by more than was stated, or the window came or went."""
        figures = self.figures
        return not figures or any(change.beyond_u for change in figures.values())


@dataclass(frozen=True)
class Outcome:
    """What a task did to one session: the reductions before and after, or why there is none."""

    session: Session | None
    before: Reduction | None
    after: Reduction | None
    error: str
    points: tuple[PointChange, ...]

    @property
    def beyond_u(self) -> bool:
        """Whether any of its points moved beyond U."""
        return any(point.beyond_u for point in self.points)

    @property
    def is_seen(self) -> bool:
        """Whether a window came or went, or a figure of one moved."""
        return any(point.moved or not point.figures for point in self.points)

    @property
    def moved_u(self) -> float:
        """The largest change in units of U; infinite for what could not be reduced or lost a window."""
        if self.error or not all(point.figures for point in self.points):
            return inf
        return max((abs(f.in_u or 0.0) for point in self.points for f in point.figures.values()), default=0.0)


def outcomes(job: Job) -> list[Outcome]:
    """Return what a re-reduction did, session by session, as its job has it so far."""
    done = job.detail.get("outcomes") or []
    keys = {each[name] for each in done for name in ("before", "after") if each[name]}
    rows = Reduction.objects.filter(pk__in=keys, session__bench=job.bench).select_related("session__unit")
    reductions = {str(row.pk): row for row in rows.prefetch_related("points")}
    sessions = Session.objects.filter(bench=job.bench).in_bulk([UUID(each["session"]) for each in done])
    return [_outcome(each, sessions, reductions) for each in done]


def _outcome(each: dict[str, str | None], sessions: dict[UUID, Session], reductions: dict[str, Reduction]) -> Outcome:
    before, after = (reductions.get(each[name] or "") for name in ("before", "after"))
    moved = changes(before, after) if before and after and before != after else []
    counting = tuple(point for point in moved if point.counts)
    return Outcome(sessions.get(UUID(each["session"])), before, after, each["error"] or "", counting)


@dataclass(frozen=True)
class Largest:
    """How far one figure moved over all sessions of a task."""

    name: str
    in_u: float
    points: int
    beyond: int


def largest(found: Iterable[Outcome]) -> list[Largest]:
    """Return for each figure its largest change in units of U, at how many points it moved, at how many beyond U."""
    rows = [point.moved for outcome in found for point in outcome.points]
    moved = {name: [row[name] for row in rows if name in row] for name in FIGURES}
    return [
        Largest(
            name,
            max((each.in_u or 0.0 for each in all_of_it), key=abs),
            len(all_of_it),
            sum(e.beyond_u for e in all_of_it),
        )
        for name, all_of_it in moved.items()
        if all_of_it
    ]


def changes(before: Reduction, after: Reduction) -> list[PointChange]:
    """Pair the windows of two reductions of one session: those that overlap most, each once."""
    left = list(before.points.all())
    pairs = []
    for point in after.points.all():
        partner = _partner(point, left)
        if partner is not None:
            left.remove(partner)
        pairs.append(PointChange(partner, point))
    return pairs + [PointChange(point, None) for point in left]


def _partner(point: Point, among: Sequence[Point]) -> Point | None:
    def overlap_s(other: Point) -> float:
        return (min(point.end, other.end) - max(point.start, other.start)).total_seconds()

    best = max(among, key=lambda other: (overlap_s(other), other.label == point.label), default=None)
    return best if best is not None and overlap_s(best) > 0 else None
