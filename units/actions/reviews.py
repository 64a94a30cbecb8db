"""What a reviewer does to a review in work."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.text import slugify

from tests_app.models import Point
from units.editions.figures import bound
from units.editions.material import Material
from units.models import Review

if TYPE_CHECKING:
    from datetime import date, time

    from units.models import Bench, MakerComment, Person, Unit

LONGEST_SLUG = 70
# By the outdoor temperature, as a reader expects; nothing is left to the database or to random keys.
IN_ORDER = (F("outdoor_temp_c").asc(nulls_last=True), "start", "label", "pk")


@transaction.atomic
def begin(*, bench: Bench, units: Iterable[Unit], title: str = "", by: Person) -> Review:
    """Begin a review of these units with all their usable points chosen."""
    chosen = list(units)
    named = title or " and ".join(str(unit) for unit in chosen) or "Review"
    review = Review.objects.create(bench=bench, slug=_free_slug(named), title=named[:160], updated_by=by)
    review.units.set(chosen)
    points = Point.objects.current().filter(unit__in=chosen, usable=True).order_by(*IN_ORDER)
    return choose(review=review, points=points, by=by)


@transaction.atomic
def write(*, review: Review, by: Person, **fields: Any) -> Review:
    """Keep the review's text and choices; the figures in the text count as read as they stand now."""
    for name, value in fields.items():
        setattr(review, name, value)
    review.updated_by = by
    review.bound_figures = bound(review.body, Material.of(review).points)
    review.save()
    return review


@transaction.atomic
def choose(*, review: Review, points: Iterable[Point], by: Person) -> Review:
    """Set which points are shown; a point keeps its short name, chosen or not, so that none is ever given twice."""
    chosen = list(points)
    names = dict(review.point_keys)
    taken = max((int(name[1:]) for name in names.values()), default=0)
    for number, key in enumerate((str(point.pk) for point in chosen if str(point.pk) not in names), start=taken + 1):
        names[key] = f"P{number}"
    review.point_keys, review.updated_by = names, by
    review.points.set(chosen)
    review.save()
    return review


@transaction.atomic
def take_newer(*, review: Review, by: Person) -> Review:
    """Put the newest reduction's points in place of superseded ones, by session and label, under their short names.

    A point whose window is gone from the newest reduction is left out; the checklist then says what refers to it.
    """
    taken: list[Point] = []
    keys = dict(review.point_keys)
    for point in review.points.select_related("reduction").order_by(*IN_ORDER):
        newest = (
            Point.objects.current().filter(reduction__session=point.reduction.session_id, label=point.label).first()
        )
        if newest is not None and newest not in taken:
            taken.append(newest)
            keys[str(newest.pk)] = keys.pop(str(point.pk))
    review.point_keys, review.updated_by = keys, by
    review.points.set(taken)
    review.save()
    return review


@transaction.atomic
def answer(*, review: Review, answers: dict[str, str], by: Person) -> Review:
    """Answer severe findings, by the finding's id; an empty answer takes one back."""
    review.answers = {key: text for key, text in (review.answers | answers).items() if text.strip()}
    review.updated_by = by
    review.save()
    return review


@transaction.atomic
def record_contact(*, review: Review, on: date, how: str, outcome: str, at: time | None = None, by: Person) -> Review:
    """Add an attempt to reach the maker, with its time of day where there was one; the record only grows."""
    hour = {"at": f"{at:%H:%M}"} if at else {}
    review.contacts = [*review.contacts, {"on": on.isoformat(), "how": how, "outcome": outcome} | hour]
    review.updated_by = by
    review.save()
    return review


@transaction.atomic
def accept_comment(*, comment: MakerComment, by: Person) -> MakerComment:
    """Accept a maker's answer: it is printed in full in the next edition."""
    comment.accepted_at = comment.accepted_at or timezone.now()
    comment.save(update_fields=["accepted_at"])
    return comment


@transaction.atomic
def decline_comment(*, comment: MakerComment, by: Person) -> MakerComment:
    """Keep a maker's answer out of the next edition; editions that print it keep it."""
    comment.accepted_at = None
    comment.save(update_fields=["accepted_at"])
    return comment


def _free_slug(title: str) -> str:
    stem = slugify(title)[:LONGEST_SLUG] or "review"
    taken = set(Review.objects.filter(slug__startswith=stem).values_list("slug", flat=True))
    return next(slug for slug in [stem, *(f"{stem}-{n}" for n in range(2, len(taken) + 3))] if slug not in taken)
