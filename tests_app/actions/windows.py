"""Windows: proposed by the program, accepted, moved or added by a person."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from django.db import transaction

from reduction.align.clock import clock_offers
from reduction.errors import InvalidSession, Place
from reduction.session import WindowResult
from reduction.windows.steady import steady_windows
from tests_app import session_document
from tests_app.actions import aligned, mapping
from tests_app.models import Session, Window
from units.models import Person


def propose(*, session: Session, by: Person) -> list[Window]:
    """Look for steady windows in the logs as confirmed now, and for clocks that disagree; keep both as offers."""
    document = session_document.to_document(session)
    timeline = aligned.timeline_of(session, document)
    aligned.keep(document, timeline)
    mapping.offer_clocks(session=session, offers=clock_offers(tuple(timeline.series.values())), by=by)
    found = steady_windows(timeline, session=document)
    return keep_proposals(session=session, proposals=found, by=by)


@transaction.atomic
def keep_proposals(*, session: Session, proposals: Iterable[WindowResult], by: Person) -> list[Window]:
    """Replace the proposals that nobody decided on; what a person accepted, moved or refused stays."""
    session.windows.filter(proposed=True, decided_at=None).delete()
    decided = list(session.windows.all())
    return Window.objects.bulk_create(
        Window(
            session=session,
            label=proposal.label,
            start=proposal.start,
            end=proposal.end,
            proposed=True,
            steady=proposal.steady,
            evidence=[evidence.model_dump(mode="json") for evidence in proposal.evidence],
        )
        for proposal in proposals
        if not any(window.start < proposal.end and proposal.start < window.end for window in decided)
    )


def accept(*, window: Window, by: Person) -> Window:
    """Take the window as it is."""
    return _decide(window, by, accepted=True)


def refuse(*, window: Window, by: Person) -> Window:
    """Leave the window out of the next reduction."""
    return _decide(window, by, accepted=False)


def move(*, window: Window, start: datetime, end: datetime, reason: str, by: Person) -> Window:
    """Set other ends; the window is then the person's own and needs their reason where it is not the proposal's."""
    _check_span(window.session, window.label, start, end)
    if (start, end) != (window.start, window.end):
        _require_reason(window.session, window.label, reason)
        window.steady, window.proposed, window.evidence = False, False, []
    return _decide(window, by, accepted=True, start=start, end=end, reason=reason)


def add(
    *,
    session: Session,
    label: str,
    start: datetime,
    end: datetime,
    reason: str,
    snap_to_cycles: bool = True,
    by: Person,
) -> Window:
    """Add a window by hand, with the reason why this span is worth averaging."""
    _check_span(session, label, start, end)
    _require_reason(session, label, reason)
    return Window.objects.create(
        session=session,
        label=label,
        start=start,
        end=end,
        reason=reason,
        snap_to_cycles=snap_to_cycles,
        accepted=True,
        decided_by=by,
        decided_at=datetime.now(UTC),
    )


def remove(*, window: Window, by: Person) -> None:
    """Remove a window; a reduction that used it keeps its own copy."""
    window.delete()


def _decide(window: Window, by: Person, **fields: Any) -> Window:
    for name, value in fields.items():
        setattr(window, name, value)
    window.decided_by, window.decided_at = by, datetime.now(UTC)
    window.save()
    return window


def _require_reason(session: Session, label: str, reason: str) -> None:
    if not reason.strip():
        raise InvalidSession(
            place=Place(session.name, column=label),
            found="no reason",
            expected="why this span is averaged",
            remedy="Say in a few words why you chose it; the reason is shown with the result.",
        )


def _check_span(session: Session, label: str, start: datetime, end: datetime) -> None:
    if end <= start:
        raise InvalidSession(
            place=Place(session.name, column=label),
            found=f"{start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M}",
            expected="an end after the start",
            remedy="Correct the two times.",
        )
    first, last = logged_span(session)
    if first and (end <= first or start >= last):
        raise InvalidSession(
            place=Place(session.name, column=label),
            found=f"{start:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M} UTC",
            expected=f"a span inside the logs, {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} UTC",
            remedy="Choose times inside the logs; check the time zone if they look shifted by whole hours.",
        )


def logged_span(session: Session) -> tuple[datetime | None, datetime | None]:
    """Return the first and last instant of any of the session's files."""
    readings = [file.reading for file in session.files.all() if file.reading.get("first")]
    firsts = [datetime.fromisoformat(reading["first"]) for reading in readings]
    lasts = [datetime.fromisoformat(reading["last"]) for reading in readings]
    return min(firsts, default=None), max(lasts, default=None)
