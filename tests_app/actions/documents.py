"""Sessions that move here: a session document with its files becomes rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import PurePosixPath

from django.db import transaction
from django.db.models import Model
from pydantic import ValidationError

from reduction import session as doc
from reduction.errors import InvalidSession, Place
from reduction.judge.claims import claim_in_si
from reduction.session import Role
from tests_app import evidence_store, session_document
from tests_app.actions import mapping
from tests_app.actions.quotas import require_room
from tests_app.actions.reading import storable
from tests_app.actions.upload import Incoming, keep_evidence
from tests_app.evidence_store import Arrival
from tests_app.models import Channel, Session, SessionFile, Window
from units import shelf
from units.models import Bench, Claim, Person, Unit

NAME = "SESSION.json"
SAME_IN_UNIT = ("maker", "model", "kind", "compressor", "refrigerant", "claimed_air_flow_m3_per_h")


def parse(content: bytes | str) -> doc.Session:
    """Return the document that a text holds, or say at which field it breaks."""
    try:
        document = doc.Session.model_validate_json(content)
    except ValidationError as error:
        first, others = error.errors()[0], error.error_count() - 1
        more = f" {others} more field{'s'[: others != 1]} break it as well." if others else ""
        raise InvalidSession(
            place=Place(NAME, column=".".join(map(str, first["loc"])) or None),
            found=str(first["input"])[:80],
            expected=first["msg"].removeprefix("Input should be ").lower(),
            remedy=f"Correct the document; `python -m reduction schema` describes every field.{more}",
        ) from error
    _refuse_what_no_row_holds(document)
    return document


def _refuse_what_no_row_holds(document: doc.Session) -> None:
    for column, text, model, field in _texts(document):
        most = model._meta.get_field(field).max_length
        if len(text) > most:
            raise InvalidSession(
                place=Place(NAME, column=column),
                found=f"{text[:40]}…",
                expected=f"text of at most {most} characters",
                remedy="Shorten it.",
            )
    stated = document.model_dump(mode="json")
    if storable(stated) != stated:
        raise InvalidSession(
            place=Place(NAME), found="a NUL character", expected="text", remedy="Take it out of the document."
        )


def _texts(document: doc.Session) -> Iterator[tuple[str, str, type[Model], str]]:
    """Yield the texts that stand in a column of their own: where in the document, the text, model and field."""
    unit = document.unit
    yield "name", document.name, Session, "name"
    for field in ("maker", "model", "refrigerant"):
        yield f"unit.{field}", getattr(unit, field), Unit, field
    for claim in unit.claims:
        for field in ("quantity_unit", "stated_in", "basis"):
            yield "unit.claims", getattr(claim, field), Claim, field
        yield "unit.claims", claim.condition.name if claim.condition else "", Claim, "condition_name"
    yield from (("files", log.path, SessionFile, "name") for log in document.files)
    yield from (("windows", window.label, Window, "label") for window in document.windows)
    for channel in document.channels:
        for field in ("column", "place"):
            yield "channels", getattr(channel, field), Channel, field
        yield "channels", channel.instrument or "", Channel, "imported_instrument"


def bring_in(
    *, bench: Bench, document: doc.Session, files: Iterable[Incoming], by: Person, may_ask: bool = False
) -> Session:
    """Create a session from its document and files: unit, evidence, channels, windows; all of it or nothing.

    Room and instruments stay as the document states them, so that the session reduces here as it did elsewhere. A file
    that can be read in several ways is refused with its question, or kept with it where somebody is there to answer.
    """
    with ExitStack() as stack:
        arrived = {
            PurePosixPath(file.name).name: stack.enter_context(
                evidence_store.arriving(file.chunks(evidence_store.BLOCK), name=file.name)
            )
            for file in files
        }
        wanted = {log.path: _arrival(log, arrived) for log in document.files}
        with transaction.atomic():
            require_room(bench=bench, name=NAME, sessions=1)
            evidence = {path: keep_evidence(bench=bench, arrival=one, by=by, name=path) for path, one in wanted.items()}
            unit = unit_of(bench=bench, document=document, by=by)
            session = session_document.from_document(document, bench=bench, unit=unit, evidence=evidence, by=by)
            files_read = mapping.read_again(session=session, by=by, may_ask=may_ask)
            if document.channels:
                for file in files_read.values():
                    file.channels.filter(confirmed=False).update(role=Role.IGNORED, confirmed=True)
    return session


def _arrival(log: doc.LogFile, arrived: dict[str, Arrival]) -> Arrival:
    """Return the file a document names, checked against the digest that it states."""
    path = PurePosixPath(log.path)
    if path.is_absolute() or ".." in path.parts:
        raise InvalidSession(
            place=Place(NAME, column="files"),
            found=log.path,
            expected="a path inside the session's folder",
            remedy="Name the file by its own name.",
        )
    found = arrived.get(path.name)
    if found is None:
        raise InvalidSession(
            place=Place(NAME, column="files"),
            found=log.path,
            expected=f"one of the files sent along ({', '.join(arrived) or 'none'})",
            remedy="Send the document together with every file it lists.",
        )
    if log.sha256 and log.sha256.lower() != found.sha256:
        raise InvalidSession(
            place=Place(log.path),
            found=f"{found.sha256[:12]}…",
            expected=f"the SHA-256 {log.sha256[:12]}… that the document states",
            remedy="Send the original file, or remove `sha256` if the change is meant.",
        )
    return found


def unit_of(*, bench: Bench, document: doc.Session, by: Person) -> Unit:
    """Return the bench's unit that is described alike in every respect, or a new one with its claims."""
    described = document.unit.model_dump(mode="json", include=set(SAME_IN_UNIT))
    stated = sorted(document.unit.claims, key=lambda claim: claim.model_dump_json())
    for unit in bench.units.filter(**described).prefetch_related("claims"):
        if session_document.claims_of(unit) == stated:
            return unit
    unit = Unit.objects.create(bench=bench, is_synthetic=bench.is_synthetic or document.synthetic, **described)
    Claim.objects.bulk_create(_claim(unit, claim) for claim in stated)
    shelf.refresh([unit])
    return unit


def _claim(unit: Unit, claim: doc.Claim) -> Claim:
    condition = (claim.condition or doc.Condition()).model_dump()
    return Claim(
        unit=unit,
        value_si=claim_in_si(claim),
        condition_name=condition.pop("name"),
        **condition,
        **claim.model_dump(exclude={"condition"}),
    )
