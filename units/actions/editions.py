"""Publish, correct, withdraw. An edition is written once; what follows it is a new one."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from units import shelf
from units.claims import leading
from units.compare.points import public_detail
from units.editions import difference, raw
from units.editions.checklist import open_faults
from units.editions.document import Document, built, canonical, digest
from units.editions.material import Material
from units.editions.page import page_of
from units.editions.read import parsed
from units.editions.serve import forget
from units.models import Edition, PublishedPoint, Review, Unit, Withdrawal
from units.pooled import rating_among

if TYPE_CHECKING:
    from tests_app.models import Point
    from units.models import Person

SAME_IN_POINT = (
    "label", "room_temp_c", "room_wet_bulb_c", "room_rh_percent", "outdoor_temp_c", "capacity_w", "capacity_u95_w",
    "capacity_kind", "power_w", "power_u95_w", "eer_btu_per_wh", "eer_u95", "cop", "cop_u95", "limit",
)  # fmt: skip


@transaction.atomic
def publish(*, review: Review, by: Person, erratum: str = "", at: datetime | None = None) -> Edition:
    """Freeze the review as its next edition; the first needs no erratum, every later one says what it corrects."""
    review = Review.objects.select_for_update().get(pk=review.pk)
    before = review.editions.order_by("-number").first()
    material = Material.of(review)
    _refuse_what_is_not_ready(material, before, erratum)
    moment = at or timezone.now()
    document = _document(material, before, erratum.strip(), moment)
    _refuse_what_is_private(material, document)
    data = canonical(document)
    edition = Edition.objects.create(
        review=review,
        number=document["number"],
        document=data.decode(),
        sha256=digest(data),
        html=page_of(document, sha256=digest(data)),
        erratum=document["erratum"],
        published_at=moment,
        supersedes=before,
    )
    PublishedPoint.objects.bulk_create(_published(edition, row, material) for row in material.rows)
    _settle(list(material.units))
    forget(review.slug, edition.number)
    return edition


@transaction.atomic
def withdraw(*, review: Review, reason: str, by: Person) -> Withdrawal:
    """Say that a review no longer stands, and why; its address says so from then on."""
    if not reason.strip():
        raise ValidationError("Say why the review is withdrawn; readers are told.")
    last = review.editions.order_by("-number").first()
    if last is None:
        raise ValidationError("Nothing of this review is published.")
    if Withdrawal.objects.filter(review=review).exists():
        raise ValidationError("The review is withdrawn already.")
    withdrawal = Withdrawal.objects.create(review=review, reason=reason.strip(), withdrawn_at=timezone.now())
    _settle(list(Unit.objects.filter(published_points__edition__review=review).distinct()))
    forget(review.slug, last.number)
    return withdrawal


def _refuse_what_is_not_ready(material: Material, before: Edition | None, erratum: str) -> None:
    if Withdrawal.objects.filter(review=material.review).exists():
        raise ValidationError("The review is withdrawn; begin a new one.")
    if before is not None and not erratum.strip():
        raise ValidationError("A correction says what it corrects: write the erratum.")
    if faults := open_faults(material):
        raise ValidationError(faults)


def _document(material: Material, before: Edition | None, erratum: str, moment: datetime) -> Document:
    number = before.number + 1 if before else 1
    document = built(material, number=number, published_at=moment, erratum=erratum if before else "", before=before)
    if material.review.publish_raw:
        for key, reduction in material.reductions.items():
            document["sessions"][key]["raw"] = raw.published(reduction)
    document["errata"] = []
    if before is not None:
        old = parsed(before)
        document["errata"] = [*old["errata"], _erratum(document, old, before)]
    return document


def _erratum(document: Document, old: Document, before: Edition) -> dict[str, Any]:
    return {
        "number": document["number"],
        "published_at": document["published_at"],
        "text": document["erratum"],
        "corrects": before.number,
        "corrects_sha256": before.sha256,
        "changes": difference.changes(old, document),
    }


def _refuse_what_is_private(material: Material, document: Document) -> None:
    """The last look before anything leaves the bench: at all of it, whoever wrote it."""
    if told := material.secrets.told_in(canonical(document).decode()):
        raise ValidationError([f"The edition would tell {what}; take it out of texts and labels." for what in told])


def _published(edition: Edition, row: Point, material: Material) -> PublishedPoint:
    veil = material.veils[row.reduction_id]
    rating = rating_among(row.detail.get("ratings"), shelf.rating_of(row.unit, leading(row.unit).get("capacity"))) or {}
    return PublishedPoint(
        edition=edition,
        unit=row.unit,
        measured_at=row.start,
        is_current=False,
        rated_capacity_w=rating.get("capacity_w"),
        rated_capacity_u95_w=rating.get("capacity_u95_w"),
        rated_eer_btu_per_wh=rating.get("eer_btu_per_wh"),
        rated_eer_u95=rating.get("eer_u95"),
        detail=veil.covered(public_detail(row.detail)),
        **{name: getattr(row, name) for name in SAME_IN_POINT} | {"label": veil.cover(row.label)},
    )


def _settle(units: list[Unit]) -> None:
    """Mark the published points that stand: of last editions that are not withdrawn, each measurement once."""
    points = PublishedPoint.objects.filter(unit__in=units)
    standing = points.filter(edition__superseded_by__isnull=True, edition__review__withdrawal__isnull=True)
    first: dict[tuple[Any, ...], int] = {}
    for key, unit, start, label in standing.order_by("pk").values_list("pk", "unit_id", "measured_at", "label"):
        first.setdefault((unit, start, label), key)
    points.update(is_current=False)
    points.filter(pk__in=first.values()).update(is_current=True)
    shelf.refresh(units)
