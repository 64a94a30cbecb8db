"""A session in which the sensors hung together, as a check of their offsets."""

from __future__ import annotations

from datetime import datetime

from reduction import session as doc
from reduction.align.timeline import Timeline
from reduction.examine.colocation import Colocation, co_locate
from tests_app import session_document
from tests_app.actions import aligned
from tests_app.models import Channel, Session
from units.models import Instrument

UNCORRECTED = {"offset_correction": 0.0, "gain_correction": 1.0}


def timeline_of(session: Session) -> tuple[Timeline, dict[str, doc.Instrument]]:
    """Return the session's readings without their corrections, and the instruments as they are known by now."""
    document = session_document.to_document(session)
    known = {each.id: each for each in document.instruments}
    bare = tuple(each.model_copy(update=UNCORRECTED) for each in document.instruments)
    return aligned.timeline_of(session, document.model_copy(update={"instruments": bare})), known


def check(
    timeline: Timeline, known: dict[str, doc.Instrument], *, start: datetime, end: datetime, reference: str = ""
) -> Colocation:
    """Return each sensor's offset over the span."""
    return co_locate(timeline, start.timestamp(), end.timestamp(), reference or None, known)


def instruments_of(session: Session) -> dict[str, Instrument]:
    """Return the bench's instruments that measured in a session, by their name in its document."""
    channels = Channel.objects.filter(file__session=session, instrument__isnull=False).select_related("instrument")
    return {session_document.instrument_id(each.instrument): each.instrument for each in channels}
