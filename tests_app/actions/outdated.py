"""Which standing results were made from something that no longer holds: method, calibration, room, claims, inputs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from reduction.errors import ReductionError
from reduction.method import METHOD_VERSION
from reduction.run import session_digest
from tests_app import session_document
from tests_app.models import Point, Reduction, Session
from units.models import Bench, CalibrationRecord, RoomValue

Cause = Literal["method", "calibration", "room", "unit", "session"]
PARTS: dict[Cause, tuple[str, str]] = {
    "room": ("room", "newer values of the room hold on its day"),
    "unit": ("unit", "the unit's identity or claims changed"),
}
SIZE = ("name", "volume_m3", "floor_m2", "construction")
KNOWN_PARTS = {"room", "unit", "instruments"}


@dataclass(frozen=True)
class Reason:
    """Why a result is outdated."""

    cause: Cause
    sentence: str


@dataclass(frozen=True)
class Outdated:
    """A session whose standing reduction would come out of other inputs or another method now."""

    session: Session
    standing: Reduction
    reasons: tuple[Reason, ...]

    @property
    def by_itself(self) -> bool:
        """Whether nothing but what stands outside the session changed, so that it can be reduced again unseen."""
        return all(reason.cause != "session" for reason in self.reasons)


def changed_since(bench: Bench) -> QuerySet[Reduction]:
    """Return the standing reductions since which a calibration or a room's value came that holds on their day.

    One query for a glance; `outdated` tells whether each would come out otherwise, and what else changed.
    """
    standing = Reduction.objects.filter(session__bench=bench, superseded_by__isnull=True)
    later = {"created_at__gt": OuterRef("reduced_at"), "valid_from__lte": OuterRef("tested_on")}
    calibrated = CalibrationRecord.objects.filter(instrument__channels__file__session=OuterRef("session"), **later)
    found = RoomValue.objects.filter(room__sessions=OuterRef("session"), **later)
    asks_the_room = Q(session__purpose="characterisation")
    starts = Point.objects.filter(reduction=OuterRef("pk")).order_by("start").values("start__date")
    dated = standing.annotate(tested_on=Subquery(starts[:1]))
    return dated.filter(Exists(calibrated) | (Exists(found) & ~asks_the_room))


def outdated(sessions: Iterable[Session]) -> list[Outdated]:
    """Return the sessions among these whose standing reduction is outdated, with the reasons."""
    found = []
    for session in sessions:
        standing = session.reductions.current().first()
        reasons = () if standing is None else reasons_of(session, standing)
        if standing is not None and reasons:
            found.append(Outdated(session, standing, reasons))
    return found


def reasons_of(session: Session, standing: Reduction) -> tuple[Reason, ...]:
    """Return why a session would be reduced from other inputs now than its standing reduction was."""
    reasons = []
    if standing.method_version != METHOD_VERSION:
        sentence = f"made by method {standing.method_version}; {METHOD_VERSION} is in use"
        reasons.append(Reason("method", sentence))
    try:
        document = session_document.to_document(session)
    except ReductionError as error:
        return (*reasons, Reason("session", str(error)))
    if session_digest(document) != standing.input_sha256:
        reasons += _changed(*_as_used(session, standing.document, document.model_dump(mode="json")))
    return tuple(reasons)


def _as_used(session: Session, before: dict[str, Any], after: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what counts of both documents: a run that asks the room uses nothing that is known of it but its size."""
    if session.purpose != "characterisation":
        return before, after
    return _with_size_alone(before), _with_size_alone(after)


def _with_size_alone(document: dict[str, Any]) -> dict[str, Any]:
    known = document.get("room") or {}
    return document | {"room": {name: known.get(name) for name in SIZE}}


def _changed(before: dict[str, Any], after: dict[str, Any]) -> list[Reason]:
    if before == after:
        return []
    reasons: list[Reason] = [
        Reason(cause, sentence) for cause, (part, sentence) in PARTS.items() if before.get(part) != after[part]
    ]
    instruments = _changed_instruments(before.get("instruments") or [], after["instruments"])
    if instruments:
        reasons.append(Reason("calibration", f"other values hold for {', '.join(instruments)}"))
    own = [part for part in after if part not in KNOWN_PARTS and before.get(part) != after[part]]
    if own or not reasons:
        named = ", ".join(part.replace("_", " ") for part in own) or "its inputs"
        reasons.append(Reason("session", f"changed in the session itself: {named}"))
    return reasons


def _changed_instruments(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> list[str]:
    was = {row["id"]: row for row in before}
    return [row["id"].rpartition(" [")[0] or row["id"] for row in after if was.get(row["id"]) != row]
