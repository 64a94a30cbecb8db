"""The document of a session as rows: a session that moves here."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from reduction import session as doc
from reduction.errors import InvalidSession, Place
from reduction.judge.decision import in_words
from tests_app.models import Channel, Evidence, RuleChoice, Session, SessionFile, Window
from tests_app.session_document.as_document import JSON_FIELDS
from units.models import Bench, Person, Unit


def from_document(
    document: doc.Session, *, bench: Bench, unit: Unit, evidence: Mapping[str, Evidence], by: Person
) -> Session:
    """Create the rows of a session that moves here; room and instruments stay as the document states them."""
    dumped = document.model_dump(mode="json")
    stated = document.unit.model_dump(
        mode="json",
        include={"measured_air_flow_m3_per_h", "measured_air_flow_u95_m3_per_h", "bypass_factor", "ducts"},
        exclude_defaults=True,
    )
    session = Session.objects.create(
        bench=bench,
        unit=unit,
        created_by=by,
        is_synthetic=document.synthetic,
        unit_facts=stated,
        imported_room=dumped["room"],
        imported_instruments=dumped["instruments"],
        reduction_settings=document.settings.model_dump(mode="json", exclude_defaults=True),
        moisture=document.moisture.model_dump(mode="json", exclude_defaults=True),
        **{field: dumped[field] for field in ("name", "purpose", "time_zone", "heater_kind", "notes", *JSON_FIELDS)},
    )
    files = {log.path: _session_file(session, log, evidence[log.path]) for log in document.files}
    Channel.objects.bulk_create(
        _channel_row(_owner(channel, files), channel, position) for position, channel in enumerate(document.channels)
    )
    Window.objects.bulk_create(_window_row(session, window, by) for window in document.windows)
    RuleChoice.objects.bulk_create(_rule_choices(session, document.decision))
    return session


def _rule_choices(session: Session, decision: doc.DecisionRule) -> list[RuleChoice]:
    """Return the choices as the document tells them; who made them stays on the bench that it comes from."""
    rule = decision.model_dump(mode="json", exclude_defaults=True, exclude={"chosen_at", "changes"})
    now = in_words(decision)
    choices = []
    if decision.chosen_at:
        first = decision.changes[0].before if decision.changes else now
        choices.append(RuleChoice(before=in_words(doc.DecisionRule()), now=first, chosen_at=decision.chosen_at))
    for change in decision.changes:
        same = {name: getattr(change, name) for name in ("before", "now", "why", "after")}
        choices.append(RuleChoice(chosen_at=change.at, chosen_in_role=change.by, **same))
    for choice in choices:
        choice.session, choice.rule = session, rule
    return choices


def _session_file(session: Session, log: doc.LogFile, evidence: Evidence) -> SessionFile:
    return SessionFile.objects.create(
        session=session,
        evidence=evidence,
        name=log.path,
        profile=log.profile.model_dump(mode="json", exclude_defaults=True),
        clock=log.clock.model_dump(mode="json", exclude_defaults=True),
    )


def _owner(channel: doc.Channel, files: Mapping[str, SessionFile]) -> SessionFile:
    """Return the file a channel is of: the one named, or the archive whose member is named."""
    owners = [file for path, file in files.items() if f"{channel.file}/".startswith(f"{path}/")]
    if owners:
        return owners[0]
    raise InvalidSession(
        place=Place("channels", column=channel.column),
        found=channel.file,
        expected="a path listed in files",
        remedy=f"Files listed: {', '.join(files) or 'none'}.",
    )


def _channel_row(file: SessionFile, channel: doc.Channel, position: int) -> Channel:
    return Channel(
        file=file,
        log=channel.file if channel.file != file.name else "",
        column=channel.column,
        role=channel.role,
        quantity_unit=channel.quantity_unit or "",
        kind=channel.kind or "",
        imported_instrument=channel.instrument or "",
        place=channel.place,
        placement_u_c=channel.placement_u_c,
        heater_kind=channel.heater_kind or "",
        is_difference=channel.is_difference,
        stale_after_s=channel.stale_after_s,
        confirmed=True,
        position=position,
    )


def _window_row(session: Session, window: doc.Window, by: Person) -> Window:
    return Window(
        session=session,
        label=window.label,
        start=window.start_utc.astimezone(UTC),
        end=window.end_utc.astimezone(UTC),
        reason=window.reason,
        snap_to_cycles=window.snap_to_cycles,
        accepted=True,
        decided_by=by,
        decided_at=datetime.now(UTC),
    )
