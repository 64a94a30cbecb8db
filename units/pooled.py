"""One figure of a unit from its like points, on a stated basis, with the errors it may share with another unit's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import sqrt
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from reduction.compare import Pooled
from reduction.ground.tables import table
from reduction.pooling import pool_repeats

if TYPE_CHECKING:
    from reduction.session import Condition

POOLING = 3  # counts up when a pooled figure would come out otherwise; kept figures of an older count are not read
U95_PER_U = 2.0  # k of a pooled figure: its degrees of freedom are many; JCGM 100, G.6.6
RATED = "rating"
AT_RATING = "tested at the rating condition"
LIKE = {row["quantity"]: float(row["half_width"]) for row in table("comparability_bands")}
PART_LOAD = frozenset({"reduced speed", "cycling", "unit off", "not steady"})  # verdicts of a unit that held back


@dataclass(frozen=True)
class Band:
    """A band of outdoor temperature."""

    key: str
    low_c: float | None
    high_c: float | None

    def holds(self, outdoor_temp_c: float | None) -> bool:
        """Say whether a temperature falls in the band: from the low end, below the high end."""
        if outdoor_temp_c is None:
            return False
        above = self.low_c is None or outdoor_temp_c >= self.low_c
        return above and (self.high_c is None or outdoor_temp_c < self.high_c)


BANDS = (
    Band("below-25", None, 25.0),
    Band("25-30", 25.0, 30.0),
    Band("30-33", 30.0, 33.0),
    Band("33-37", 33.0, 37.0),  # holds 35 °C, the outdoor temperature of most ratings
    Band("above-37", 37.0, None),
)
BASES = (RATED, *(band.key for band in BANDS))


class Telling(Protocol):
    """What of a point is pooled."""

    room_temp_c: float | None
    outdoor_temp_c: float | None
    capacity_w: float
    capacity_u95_w: float
    capacity_kind: str
    eer_btu_per_wh: float | None
    eer_u95: float | None
    limit: str
    detail: dict[str, Any]


Point = TypeVar("Point", bound=Telling)


@dataclass(frozen=True)
class PooledFigure:
    """What a unit's like points say together on a basis.

    `bases` are the conditions it was brought to, empty for a band, whose name is the basis; `to_claim` says that it
    holds at the claim's condition. `shared` and `eer_shared` are contributions by the key of the error.
    """

    capacity_w: float
    capacity_u_w: float
    capacity_kind: str
    eer: float | None
    eer_u: float | None
    consistent: bool
    to_claim: bool
    bases: tuple[str, ...]
    capacity_tolerance: float | None
    eer_tolerance: float | None
    n_points: int
    shared: dict[str, float]
    eer_shared: dict[str, float]

    @property
    def capacity_u95_w(self) -> float:
        """Expanded uncertainty of the capacity. [W]"""
        return U95_PER_U * self.capacity_u_w

    @property
    def eer_u95(self) -> float | None:
        """Expanded uncertainty of the EER."""
        return None if self.eer_u is None else U95_PER_U * self.eer_u

    @property
    def corrected(self) -> bool:
        """Whether some of it was brought to the claim's condition and not tested there."""
        return any(basis != AT_RATING for basis in self.bases)


@dataclass(frozen=True)
class Figure:
    """What one point says on a basis."""

    capacity_w: float
    capacity_u95_w: float
    eer: float | None
    eer_u95: float | None
    basis: str
    to_claim: bool
    point: Telling


def pooled_at(at: str, points: Iterable[Telling], rating: Condition) -> PooledFigure | None:
    """Return a unit's like points on a basis as one figure; None where none of them stands there."""
    figures = like(at, points, rating)
    return pooled(figures) if figures else None


def headline(points: Iterable[Point], rating: Condition) -> Point | None:
    """Return the best known of the points that are pooled at the claim's condition."""
    return best_known(like(RATED, points, rating))  # type: ignore[return-value]  # it is one of those given


def best_known(figures: Iterable[Figure]) -> Telling | None:
    """Return the point whose figure has the smallest share of uncertainty."""
    best = min(figures, key=lambda figure: figure.capacity_u95_w / abs(figure.capacity_w or 1.0), default=None)
    return best.point if best else None


def like(at: str, points: Iterable[Telling], rating: Condition) -> list[Figure]:
    """Return what the points say on a basis, so that none is pooled with one of another meaning.

    Total capacities stand before sensible ones, and points at the unit's full ability before those it held back in.
    """
    made = [_rated(point, rating) if at == RATED else _tested(point, at, rating) for point in points]
    figures = [figure for figure in made if figure is not None]
    figures = [figure for figure in figures if figure.point.limit not in PART_LOAD] or figures
    return [figure for figure in figures if figure.point.capacity_kind == "total"] or figures


def is_near(room_temp_c: float | None, outdoor_temp_c: float | None, rating: Condition) -> bool:
    """Say whether a point was tested at the rating condition, within the bands of like conditions on both sides."""
    pairs = (
        (room_temp_c, rating.room_temp_c, "room_temp_c"),
        (outdoor_temp_c, rating.outdoor_temp_c, "outdoor_temp_c"),
    )
    return all(a is not None and b is not None and abs(a - b) <= LIKE[name] for a, b, name in pairs)


def rating_among(ratings: list[dict[str, Any]] | None, rating: Condition) -> dict[str, Any] | None:
    """Return a point's correction to the claim's condition: by its name, else the first that was made."""
    named = [row for row in ratings or [] if row["condition"] == rating.name]
    return next(iter(named or ratings or []), None)


def _shows_it(point: Telling, rating: Condition) -> bool:
    return point.limit not in PART_LOAD and is_near(point.room_temp_c, point.outdoor_temp_c, rating)


def _rated(point: Telling, rating: Condition) -> Figure | None:
    rated = rating_among(point.detail.get("ratings"), rating)
    if rated is not None:
        figures = (rated[name] for name in ("capacity_w", "capacity_u95_w", "eer_btu_per_wh", "eer_u95"))
        return Figure(*figures, f"corrected to {rated['condition']}", True, point)
    return _as_it_is(point, AT_RATING, to_claim=True) if _shows_it(point, rating) else None


def _tested(point: Telling, at: str, rating: Condition) -> Figure | None:
    band = next((band for band in BANDS if band.holds(point.outdoor_temp_c)), None)
    if band is None or band.key != at:
        return None
    return _as_it_is(point, "", to_claim=_shows_it(point, rating))


def _as_it_is(point: Telling, basis: str, *, to_claim: bool) -> Figure:
    figures = (point.capacity_w, point.capacity_u95_w, point.eer_btu_per_wh, point.eer_u95)
    return Figure(*figures, basis, to_claim, point)


def pooled(figures: Sequence[Figure]) -> PooledFigure:
    """Return like points as one figure."""
    capacity, shared = pool_repeats(
        [figure.capacity_w for figure in figures],
        [figure.capacity_u95_w / U95_PER_U for figure in figures],
        [_shares(each.point, "budget", each.capacity_w, each.point.capacity_w) for each in figures],
    )
    capacity = _widened(capacity, [_left_open(each.capacity_w, each.capacity_u95_w, each.point.capacity_w,
                                              each.point.capacity_u95_w) for each in figures])  # fmt: skip
    eer, eer_shared = _pooled_eer([figure for figure in figures if figure.eer is not None])
    first = figures[0].point
    return PooledFigure(
        capacity_w=capacity.value,
        capacity_u_w=capacity.u,
        capacity_kind=first.capacity_kind,
        eer=eer.value if eer else None,
        eer_u=eer.u if eer else None,
        consistent=capacity.consistent,
        to_claim=all(figure.to_claim for figure in figures),
        bases=tuple(dict.fromkeys(figure.basis for figure in figures if figure.basis)),
        capacity_tolerance=_tolerance(first, "capacity"),
        eer_tolerance=_tolerance(first, "eer"),
        n_points=len(figures),
        shared=shared,
        eer_shared=eer_shared,
    )


def _pooled_eer(figures: Sequence[Figure]) -> tuple[Pooled | None, dict[str, float]]:
    if not figures:
        return None, {}
    eer, shared = pool_repeats(
        [figure.eer for figure in figures],  # type: ignore[misc]  # those without one are left out
        [(figure.eer_u95 or 0.0) / U95_PER_U for figure in figures],
        [_shares(each.point, "eer_budget", each.eer, each.point.eer_btu_per_wh) for each in figures],
    )
    left_open = [_left_open(each.eer, each.eer_u95, each.point.eer_btu_per_wh, each.point.eer_u95) for each in figures]
    return _widened(eer, left_open), shared


def _left_open(shown: float | None, u95: float | None, measured: float | None, measured_u95: float | None) -> float:
    """Return what a correction left open: its u beyond the point's own, scaled as the figure was; none as tested."""
    own = (measured_u95 or 0.0) * (shown / measured if shown and measured else 1.0)
    return sqrt(max((u95 or 0.0) ** 2 - own**2, 0.0)) / U95_PER_U


def _widened(pooled: Pooled, left_open: Sequence[float]) -> Pooled:
    """Let what the corrections left open not average out: the same maps brought each of the points there."""
    parts = [weight * each for weight, each in zip(pooled.weights, left_open, strict=True)]
    together, apart = sum(parts) ** 2, sum(part**2 for part in parts)
    return replace(pooled, u=sqrt(pooled.u**2 + max(together - apart, 0.0)))


def _shares(point: Telling, name: str, shown: float | None, measured: float | None) -> dict[str, float]:
    """Return what a figure carries of errors that others may share; a corrected one its point's, scaled as it was."""
    factor = shown / measured if shown and measured else 1.0
    shares: Counter[str] = Counter()
    for line in point.detail.get(name) or []:
        if line["shared_key"]:
            shares[line["shared_key"]] += line["contribution_w"] * factor
    return shares


def _tolerance(point: Telling, quantity: str) -> float | None:
    verdicts = point.detail.get("verdicts") or []
    return next((verdict["tolerance"] for verdict in verdicts if verdict["quantity"] == quantity), None)
