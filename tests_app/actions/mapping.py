"""What each file and column means: proposed by the reader, confirmed or overruled by a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.db import transaction
from pydantic import ValidationError

from reduction.align.clock import ClockOffer
from reduction.errors import InvalidSession, Place, ReductionError
from reduction.session import ClockCorrection, Profile
from tests_app import evidence_store
from tests_app.actions.reading import Reading, Source, read_together
from tests_app.models import Channel, SavedMapping, Session, SessionFile
from units.models import Person

CHOSEN = ("role", "quantity_unit", "kind", "place", "placement_u_c", "heater_kind", "is_difference")


def sources(*, session: Session, stack: ExitStack) -> dict[SessionFile, Source]:
    """Return the session's files as what can be read, while `stack` is open."""
    files = session.files.select_related("evidence").prefetch_related("channels")
    return {file: _source(session, file, stack) for file in files}


def _source(session: Session, file: SessionFile, stack: ExitStack) -> Source:
    file.session = session
    path = stack.enter_context(evidence_store.local_path(file.evidence.stored_as))
    return Source(path, file.name, file.profile, session.time_zone)


@transaction.atomic
def read_again(*, session: Session, by: Person, may_ask: bool = True) -> dict[UUID, SessionFile]:
    """Read all files of a session; the first that cannot be read is raised and then nothing is changed.

    A file with a question keeps it for a person to answer, or, where nobody is there to ask, cannot be read.
    """
    with ExitStack() as stack:
        stored = sources(session=session, stack=stack)
        readings = dict(zip(stored, read_together(list(stored.values())), strict=True))
    for reading in readings.values():
        if isinstance(reading, ReductionError):
            raise reading
        if reading.asks is not None and not may_ask:
            raise reading.asks
    keep_readings(readings=readings, by=by)
    return {file.pk: file for file in readings}


@transaction.atomic
def keep_readings(*, readings: Mapping[SessionFile, Reading], by: Person) -> None:
    """Keep what files are read as; a channel that a person confirmed stays as they said."""
    for file, reading in readings.items():
        file.reading = reading.data
        confirmed = {(channel.log, channel.column) for channel in file.channels.all() if channel.confirmed}
        Channel.objects.filter(file=file, confirmed=False).delete()
        Channel.objects.bulk_create(
            Channel(file=file, position=position, **proposal)
            for position, proposal in enumerate(reading.proposals)
            if (proposal["log"], proposal["column"]) not in confirmed
        )
    SessionFile.objects.bulk_update(readings, ["reading"])


@transaction.atomic
def read_as(*, file: SessionFile, profile: Mapping[str, Any], by: Person) -> SessionFile:
    """Read a file again by what a person said of it (zone, date order, delimiter …); all or nothing."""
    said = {name: value for name, value in profile.items() if value not in (None, "")}
    try:
        file.profile = Profile.model_validate(said).model_dump(mode="json", exclude_defaults=True)
    except ValidationError as error:
        raise _invalid(file, error) from error
    file.save(update_fields=["profile"])
    return read_again(session=file.session, by=by)[file.pk]


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
    file.reading["clock_offer"] = None
    file.save(update_fields=["clock", "reading"])
    return file


@transaction.atomic
def offer_clocks(*, session: Session, offers: Sequence[ClockOffer], by: Person) -> None:
    """Keep the corrections that events seen by two loggers suggest; none is applied before a person says yes."""
    found = {offer.file: offer for offer in offers}
    for file in session.files.all():
        offer = found.get(file.name)
        stated = offer and asdict(offer) | {
            "correction": offer.correction.model_dump(mode="json", exclude_defaults=True)
        }
        if file.reading.get("clock_offer") != stated:
            file.reading["clock_offer"] = stated
            file.save(update_fields=["reading"])


def take_clock_offer(*, file: SessionFile, by: Person) -> SessionFile:
    """Correct a file's clock as offered, on top of the correction it has; the evidence becomes the reason."""
    offer = file.reading.get("clock_offer")
    if offer is None:
        raise InvalidSession(
            place=Place(file.name),
            found="no offer",
            expected="an offered correction of its clock",
            remedy="Look for steady windows again; the clocks are compared then.",
        )
    before, more = ClockCorrection.model_validate(file.clock), ClockCorrection.model_validate(offer["correction"])
    together = more.model_copy(
        update={"offset_s": before.offset_s + more.offset_s, "drift_ppm": before.drift_ppm + more.drift_ppm}
    )
    reason = more.reason or offer["because"]
    return set_clock(file=file, clock=together.model_dump() | {"reason": reason}, by=by)


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
        defaults={"name": name.replace("\x00", "")[:120], "profile": file.profile, "channels": channels},
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
