"""What each file and column means: proposed by the reader, confirmed or overruled by a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.db import transaction
from pydantic import ValidationError

from reduction.errors import InvalidSession, Place
from reduction.readers import read_logs, with_roles
from reduction.readers.table import Column, Log
from reduction.session import ClockCorrection, Profile
from tests_app import evidence_store
from tests_app.actions import reading
from tests_app.models import Channel, SavedMapping, Session, SessionFile
from units.models import Person

CHOSEN = ("role", "quantity_unit", "kind", "place", "placement_u_c", "heater_kind", "is_difference")

Logs = tuple[Log, ...]


def read(*, file: SessionFile) -> Logs:
    """Read a file of a session as it is said to be read."""
    with evidence_store.local_path(file.evidence.stored_as) as path:
        profile = Profile.model_validate(file.profile)
        return read_logs(path, name=file.name, profile=profile, time_zone=file.session.time_zone)


@transaction.atomic
def keep_readings(*, session: Session, fresh: Mapping[UUID, Logs], by: Person) -> dict[UUID, SessionFile]:
    """Keep what the session's files are read as; roles are proposed over all of them together.

    `fresh` holds the logs that were read just now; the other files are read again. A channel that a person
    confirmed stays as they said.
    """
    files = list(session.files.select_related("evidence", "session").prefetch_related("channels"))
    logs = {file.pk: fresh.get(file.pk) or read(file=file) for file in files}
    proposed = iter(with_roles(tuple(log for file in files for log in logs[file.pk])))
    for file in files:
        _keep_reading(file, tuple(next(proposed) for _ in logs[file.pk]))
    return {file.pk: file for file in files}


def _keep_reading(file: SessionFile, logs: Logs) -> None:
    file.reading = reading.of_logs(logs)
    file.save(update_fields=["reading"])
    confirmed = {(channel.log, channel.column) for channel in file.channels.all() if channel.confirmed}
    file.channels.filter(confirmed=False).delete()
    columns = [(log.path if log.path != file.name else "", column) for log in logs for column in log.columns]
    Channel.objects.bulk_create(
        _proposed(file, log, column, position)
        for position, (log, column) in enumerate(columns)
        if (log, column.name) not in confirmed
    )


def _proposed(file: SessionFile, log: str, column: Column, position: int) -> Channel:
    guesses = [column.role_guess, column.unit_guess, column.kind_guess]
    return Channel(
        file=file,
        log=log,
        column=column.name,
        role=column.role,
        quantity_unit=column.quantity_unit,
        kind=column.kind,
        place=column.name if column.role.startswith("adjacent") else "",
        is_difference=column.is_difference,
        guesses=[asdict(guess) for guess in guesses],
        position=position,
    )


@transaction.atomic
def read_as(*, file: SessionFile, profile: Mapping[str, Any], by: Person) -> SessionFile:
    """Read a file again by what a person said of it (zone, date order, delimiter …); all or nothing."""
    said = {name: value for name, value in profile.items() if value not in (None, "")}
    try:
        file.profile = Profile.model_validate(said).model_dump(mode="json", exclude_none=True)
    except ValidationError as error:
        raise _invalid(file, error) from error
    file.save(update_fields=["profile"])
    return keep_readings(session=file.session, fresh={file.pk: read(file=file)}, by=by)[file.pk]


def set_clock(*, file: SessionFile, clock: Mapping[str, Any], by: Person) -> SessionFile:
    """Correct one file's clock; the others keep theirs."""
    try:
        corrected = ClockCorrection.model_validate(dict(clock))
    except ValidationError as error:
        raise _invalid(file, error) from error
    if corrected != ClockCorrection() and not corrected.reason.strip():
        raise InvalidSession(
            place=Place(file.name),
            found="no reason",
            expected="why its clock is corrected",
            remedy="Say what showed it, such as an event that both loggers saw.",
        )
    file.clock = corrected.model_dump(mode="json", exclude_defaults=True)
    file.save(update_fields=["clock"])
    return file


def _invalid(file: SessionFile, error: ValidationError) -> InvalidSession:
    first = error.errors()[0]
    return InvalidSession(
        place=Place(file.name, column=".".join(map(str, first["loc"]))),
        found=str(first["input"])[:80],
        expected=first["msg"].lower(),
        remedy="Correct it; the file is read as before.",
    )


@transaction.atomic
def confirm(*, channels: Sequence[Channel], choices: Mapping[UUID, Mapping[str, Any]], by: Person) -> list[Channel]:
    """Keep what a person says each channel is."""
    said = [channel for channel in channels if channel.pk in choices]
    for channel in said:
        for name, value in choices[channel.pk].items():
            setattr(channel, name, value)
        channel.confirmed = True
    Channel.objects.bulk_update(said, [*CHOSEN, "instrument", "confirmed"])
    return said


def remember(*, file: SessionFile, name: str, by: Person) -> SavedMapping:
    """Save what is confirmed of a file, to be offered when the same layout comes again."""
    channels = [{"column": channel.column} | _said(channel) for channel in file.channels.all()]
    mapping, _ = SavedMapping.objects.update_or_create(
        bench=file.session.bench,
        fingerprint=file.reading["fingerprint"],
        defaults={"name": name[:120], "profile": file.profile, "channels": channels},
    )
    return mapping


def _said(channel: Channel) -> dict[str, Any]:
    instrument = str(channel.instrument_id) if channel.instrument_id else None
    return {field: getattr(channel, field) for field in CHOSEN} | {"instrument": instrument}


def offered(*, session: Session, files: Sequence[SessionFile]) -> dict[str, SavedMapping]:
    """Return the bench's saved mappings of these files' layouts, by layout."""
    layouts = {file.reading.get("fingerprint") for file in files}
    return {saved.fingerprint: saved for saved in session.bench.saved_mappings.filter(fingerprint__in=layouts)}


@transaction.atomic
def apply(*, file: SessionFile, mapping: SavedMapping, by: Person) -> SessionFile:
    """Read a file as the saved mapping says and confirm its channels by it."""
    if mapping.profile != file.profile:
        file = read_as(file=file, profile=mapping.profile, by=by)
    instruments = {str(row.pk): row for row in mapping.bench.instruments.all()}
    saved = {entry["column"]: entry for entry in mapping.channels}
    channels = list(file.channels.filter(column__in=saved))
    choices = {
        channel.pk: {field: saved[channel.column][field] for field in CHOSEN}
        | {"instrument": instruments.get(saved[channel.column]["instrument"])}
        for channel in channels
    }
    confirm(channels=channels, choices=choices, by=by)
    return file
