"""The rows of a session as its document."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from reduction import session as doc
from reduction.errors import InvalidSession, Place
from tests_app.models import Channel, RuleChoice, Session, SessionFile, Window
from units.claims import in_order
from units.models import CalibrationRecord, Instrument, Room, RoomValue, Unit

JSON_FIELDS = ("fixed_loads", "people", "solar", "events")


def to_document(session: Session) -> doc.Session:
    """Return what would be reduced now: the room's and instruments' values are those valid on the test's day.

    Channels that nobody confirmed yet are left to the reader, which then says in its findings that it guessed.
    """
    files = list(session.files.select_related("evidence").prefetch_related("channels__instrument__calibrations"))
    day = day_of(session, files)
    channels = _used([channel for file in files for channel in file.channels.all()])
    return _checked(
        session.name,
        name=session.name,
        synthetic=session.is_synthetic,
        purpose=session.purpose,
        time_zone=session.time_zone,
        unit=_unit(session),
        room=_room(session, day),
        instruments=_instruments(session, channels, day),
        files=[_file(file) for file in files],
        channels=[_channel(channel) for channel in channels],
        moisture=session.moisture,
        heater_kind=session.heater_kind,
        windows=[_window(window) for window in session.windows.all() if window.accepted],
        settings=session.reduction_settings,
        decision=decision_of(session),
        notes=session.notes,
        **{field: getattr(session, field) for field in JSON_FIELDS},
    )


def decision_of(session: Session) -> doc.DecisionRule:
    """Return the rule that the session's claims are judged by, with each change of it after there were data."""
    choices = list(session.rule_choices.all())
    if not choices:
        return doc.DecisionRule()
    first = [choice.chosen_at for choice in choices if not choice.after]
    changes = [_change(choice) for choice in choices if choice.after]
    return doc.DecisionRule(**choices[-1].rule, chosen_at=max(first, default=None), changes=changes)


def _change(choice: RuleChoice) -> doc.RuleChange:
    return doc.RuleChange(
        at=choice.chosen_at,
        by=choice.chosen_in_role,
        before=choice.before,
        now=choice.now,
        why=choice.why,
        after=choice.after,
    )


def _used(channels: list[Channel]) -> list[Channel]:
    if not any(channel.confirmed for channel in channels):
        return []
    return [channel for channel in channels if channel.role != doc.Role.IGNORED] or channels


def day_of(session: Session, files: Iterable[SessionFile]) -> date:
    """Return the day of the first row of any file, in the session's zone; before there are files, its making."""
    firsts = [datetime.fromisoformat(file.reading["first"]) for file in files if file.reading.get("first")]
    return min(firsts, default=session.created_at).astimezone(ZoneInfo(session.time_zone)).date()


def _checked(name: str, /, **fields: object) -> doc.Session:
    try:
        return doc.Session.model_validate(fields)
    except ValidationError as error:
        first = error.errors()[0]
        raise InvalidSession(
            place=Place(name, column=".".join(str(part) for part in first["loc"])),
            found=str(first.get("input"))[:80],
            expected=first["msg"].lower(),
            remedy="Correct it on the session's pages.",
        ) from error


def _unit(session: Session) -> dict[str, object]:
    if session.unit is None:
        return {"model": "unit not named", "kind": doc.UnitKind.WINDOW} | session.unit_facts
    return _unit_fields(session.unit) | session.unit_facts


def describe_unit(unit: Unit) -> doc.UnitUnderTest:
    """Return a unit as a document names it, outside any session."""
    return doc.UnitUnderTest.model_validate(_unit_fields(unit))


def _unit_fields(unit: Unit) -> dict[str, object]:
    return {
        "maker": unit.maker,
        "model": unit.model,
        "kind": unit.kind,
        "compressor": unit.compressor,
        "refrigerant": unit.refrigerant,
        "claims": claims_of(unit),
        "claimed_air_flow_m3_per_h": unit.claimed_air_flow_m3_per_h,
    }


def claims_of(unit: Unit) -> list[doc.Claim]:
    """Return a unit's claims, always in the same order."""
    return [stated for stated, _ in in_order(unit)]


def _room(session: Session, day: date) -> dict[str, object]:
    room = session.room
    if room is None:
        if session.imported_room is not None:
            return session.imported_room
        raise InvalidSession(
            place=Place(session.name),
            found="no room",
            expected="the room the test stood in",
            remedy="Choose or describe the room under Facts.",
        )
    return _room_fields(room, day)


def describe_room(room: Room, day: date) -> doc.Room:
    """Return a room as it is known on a day, outside any session."""
    return doc.Room.model_validate(_room_fields(room, day))


def _room_fields(room: Room, day: date) -> dict[str, object]:
    fields = {
        "name": room.name,
        "volume_m3": room.volume_m3,
        "floor_m2": room.floor_m2,
        "construction": room.construction,
    }
    value = valid_value(room, day)
    return fields if value is None else fields | _room_value(value)


def room_of(session: Session) -> doc.Room:
    """Return the room as it would be used now."""
    return doc.Room.model_validate(_room(session, day_of(session, session.files.all())))


def valid_value(room: Room, day: date) -> RoomValue | None:
    """Return what was known of the room on that day; one found only later is better than none."""
    values = list(room.values.all())
    return next((value for value in values if value.valid_from <= day), values[-1] if values else None)


def _room_value(value: RoomValue) -> dict[str, object]:
    return {
        "surfaces": value.surfaces,
        "c_eff_j_per_k": value.c_eff_j_per_k,
        "c_eff_u95_j_per_k": value.c_eff_u95_j_per_k,
        "slow_mass": value.slow_mass,
        "surfaces_include_infiltration": value.includes_infiltration,
        "infiltration_m3_per_h": value.infiltration_m3_per_h,
        "infiltration_u95_m3_per_h": value.infiltration_u95_m3_per_h,
        "infiltration_from": value.infiltration_from,
        "found_by": value.found_by,
    }


def _instruments(session: Session, channels: Iterable[Channel], day: date) -> list[object]:
    used = {channel.instrument.pk: channel.instrument for channel in channels if channel.instrument}
    rows = sorted(used.values(), key=instrument_id)
    return [describe_instrument(instrument, day) for instrument in rows] + list(session.imported_instruments or [])


def instrument_id(instrument: Instrument) -> str:
    """Return a name that no other bench's instrument has, so that errors are shared only where they are."""
    return f"{instrument.name} [{instrument.pk.hex[:6]}]"


def describe_instrument(instrument: Instrument, day: date) -> doc.Instrument:
    """Return an instrument with the calibration that holds on a day."""
    record = valid_calibration(instrument, day)
    calibration = (
        {}
        if record is None
        else {
            "offset_correction": record.offset_correction,
            "offset_correction_u": record.offset_correction_u,
            "gain_correction": record.gain_correction,
            "gain_correction_u": record.gain_correction_u,
            "calibrated_on": record.valid_from,
            "calibration_due": record.due_on,
        }
    )
    return doc.Instrument(
        id=instrument_id(instrument),
        model=instrument.model,
        quantity=instrument.quantity,
        offset_limit=instrument.offset_limit,
        gain_limit=instrument.gain_limit,
        resolution=instrument.resolution,
        distribution=instrument.distribution,
        noise=instrument.noise,
        time_constant_s=instrument.time_constant_s,
        **calibration,
    )


def valid_calibration(instrument: Instrument, day: date) -> CalibrationRecord | None:
    """Return the newest record valid on that day; a correction is never carried back in time."""
    return next((record for record in instrument.calibrations.all() if record.valid_from <= day), None)


def _file(file: SessionFile) -> dict[str, object]:
    return {"path": file.name, "sha256": file.evidence.sha256, "profile": file.profile, "clock": file.clock}


def _channel(channel: Channel) -> dict[str, object]:
    instrument = instrument_id(channel.instrument) if channel.instrument else channel.imported_instrument or None
    return {
        "file": channel.log or channel.file.name,
        "column": channel.column,
        "role": channel.role,
        "quantity_unit": channel.quantity_unit or None,
        "kind": channel.kind or None,
        "instrument": instrument,
        "place": channel.place,
        "placement_u_c": channel.placement_u_c,
        "heater_kind": channel.heater_kind or None,
        "is_difference": channel.is_difference,
        "stale_after_s": channel.stale_after_s,
    }


def _window(window: Window) -> dict[str, object]:
    return {
        "label": window.label,
        "start_utc": window.start,
        "end_utc": window.end,
        "reason": window.reason,
        "snap_to_cycles": window.snap_to_cycles,
    }
