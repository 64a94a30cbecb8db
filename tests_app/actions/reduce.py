"""Run a session's reduction and keep what it says, once and for all."""

from __future__ import annotations

from datetime import UTC, datetime

from django.db import transaction

from reduction import session as doc
from reduction.errors import InvalidSession, Place
from reduction.method import METHOD_VERSION
from reduction.run import Progress, reduce_session, session_digest
from tests_app import evidence_store, session_document
from tests_app.actions.questions import require_answers
from tests_app.models import Channel, Finding, Point, Reduction, Session
from units import shelf
from units.models import Person, Unit

SAME_IN_POINT = [
    "label",
    "start",
    "end",
    "usable",
    "capacity_w",
    "capacity_u95_w",
    "capacity_kind",
    "power_w",
    "power_u95_w",
    "cop",
    "cop_u95",
    "eer_btu_per_wh",
    "eer_u95",
]
SAME_IN_FINDING = ("code", "severity", "sentence", "subject", "remedy")


def run_and_store(*, session: Session, by: Person | None, progress: Progress | None = None) -> Reduction:
    """Reduce what the session holds now; where that is what its standing reduction was made from, return that one."""
    require_answers(session=session)
    _require_confirmed(session)
    document = session_document.to_document(session)
    digest = session_digest(document)
    standing = standing_reduction(session)
    if standing is not None and _is_of(standing, digest):
        return standing
    with evidence_store.folder_of(session.files.select_related("evidence")) as folder:
        result = reduce_session(document, base=folder, progress=progress)
    return store(session=session, document=document, result=result, by=by)


def _require_confirmed(session: Session) -> None:
    """Refuse a session of which some channels are confirmed and others, added later, are not."""
    channels = Channel.objects.filter(file__session=session)
    open_ones = list(channels.filter(confirmed=False).values_list("column", flat=True))
    if open_ones and channels.filter(confirmed=True).exists():
        raise InvalidSession(
            place=Place(session.name),
            found=f"{len(open_ones)} channels that nobody confirmed ({', '.join(open_ones[:3])})",
            expected="every channel confirmed or none",
            remedy="Confirm them under Channels; take the role “ignored” for what is not needed.",
        )


def standing_reduction(session: Session) -> Reduction | None:
    """Return the session's newest reduction, if it has any."""
    return session.reductions.current().first()


def is_due(session: Session) -> bool:
    """Say whether the session holds something that its standing reduction was not made from."""
    require_answers(session=session)
    standing = standing_reduction(session)
    return standing is None or not _is_of(standing, session_digest(session_document.to_document(session)))


def _is_of(reduction: Reduction, digest: str) -> bool:
    return (reduction.input_sha256, reduction.method_version) == (digest, METHOD_VERSION)


@transaction.atomic
def store(*, session: Session, document: doc.Session, result: doc.Result, by: Person | None) -> Reduction:
    """Write the reduction with its points and findings; it supersedes the one that stood until now."""
    Session.objects.select_for_update().get(pk=session.pk)
    digest = session_digest(document)
    standing = standing_reduction(session)
    if standing is not None and _is_of(standing, digest):
        return standing
    reduction = Reduction.objects.create(
        session=session,
        supersedes=standing,
        method_version=result.method_version,
        input_sha256=digest,
        document=document.model_dump(mode="json"),
        result=result.model_dump(mode="json"),
        reduced_at=datetime.now(UTC),
        reduced_by=by,
    )
    points = Point.objects.bulk_create(_point(reduction, i, point) for i, point in enumerate(result.points))
    pairs = [(None, found) for found in result.findings]
    pairs += [(row, found) for row, point in zip(points, result.points, strict=True) for found in point.findings]
    Finding.objects.bulk_create(_finding(reduction, i, *pair) for i, pair in enumerate(pairs))
    shown = Unit.objects.filter(points__reduction__in=[row for row in (reduction, standing) if row is not None])
    shelf.refresh(shown.distinct())
    return reduction


def _point(reduction: Reduction, position: int, point: doc.Point) -> Point:
    conditions = {name: measured.value for name, measured in point.conditions.items()}
    return Point(
        reduction=reduction,
        unit=reduction.session.unit,
        position=position,
        room_temp_c=conditions.get("room_temp_c"),
        room_wet_bulb_c=conditions.get("room_wet_bulb_c"),
        room_rh_percent=conditions.get("room_rh_percent"),
        outdoor_temp_c=conditions.get("condenser_inlet_temp_c", conditions.get("outdoor_temp_c")),
        limit=point.limit.verdict,
        detail=point.model_dump(mode="json"),
        **{name: getattr(point, name) for name in SAME_IN_POINT},
    )


def _finding(reduction: Reduction, position: int, point: Point | None, finding: doc.Finding) -> Finding:
    same = {name: getattr(finding, name) for name in SAME_IN_FINDING}
    return Finding(reduction=reduction, point=point, position=position, **same)
