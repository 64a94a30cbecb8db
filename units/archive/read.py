"""A bench out of its archive: looked at whole before anything is written, then all of it or nothing, then compared."""

from __future__ import annotations

import hashlib
import itertools
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.core.files import File
from django.core.files.storage import default_storage
from django.db import DataError, IntegrityError, models, transaction

from reduction.run import Progress
from tests_app import evidence_store
from tests_app.models import Evidence
from units import shelf
from units.archive.incoming import AGAIN, Rows, settled
from units.archive.look import AT_ONCE, BLOCK, STORED, Look, digest_of, looked_at, opened, quiet
from units.archive.rows import AnyRow, Numbers, canonical, is_numbered, parents_first, travelling, written
from units.archive.versions import refused
from units.models import Bench, CalibrationRecord, Membership, Person, Role, Unit

LOOKING, PLACING = 0.6, 0.3  # shares of the work; writing the rows is the rest
MISFITS = (LookupError, ValueError, TypeError, AttributeError, ArithmeticError, ValidationError, ObjectDoesNotExist)


@dataclass
class _Arrival:
    """What has come in so far: the keys of rows by their names in the archive, people by name, files by part."""

    people: dict[str, Person]
    same_people: bool = False
    keys: dict[type[models.Model], dict[Any, Any]] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    new_files: list[str] = field(default_factory=list)


def read(
    path: Path,
    *,
    owner: Person,
    name: str = "",
    same_people: bool = False,
    known: Mapping[str, Person] | None = None,
    progress: Progress = quiet,
    settle: Callable[[Bench, Look], None] = lambda bench, look: None,
) -> Bench:
    """Bring a bench in and give it to its new owner.

    Whoever the rows name becomes an account that nobody can sign in to; but for those in `known`, and, with
    `same_people`, for accounts that have the user name here. Either way nobody but the owner gets a role. `settle` is
    called within the transaction, once everything is in: what it raises leaves nothing.

    Raises
    ------
    UnreadableFile
        If the file is no archive of a bench, is damaged, or the bench (or an address of its reviews) is here already.
    """
    name = name or path.name
    arrival = _Arrival(people=dict(known or {}), same_people=same_people)
    with opened(path, name) as archive:
        look = looked_at(archive, name, lambda stage, part: progress(stage, LOOKING * part))
        if look.clashes:
            raise _here_already(name, look.clashes[0])
        with _all_or_nothing(arrival, name):
            _files_in(archive, arrival, progress)
            progress("Writing rows", LOOKING + PLACING)
            with transaction.atomic():
                bench = _rows_in(Rows(archive, name, look.version), arrival, name)
                Membership.objects.create(bench=bench, person=owner, role=Role.OWNER)
                shelf.refresh(Unit.objects.filter(bench=bench))
                settle(bench, look)
                return bench


@contextmanager
def _all_or_nothing(arrival: _Arrival, name: str) -> Iterator[None]:
    """Take back the files that were placed where the rows did not follow; word what went wrong with them."""
    try:
        yield
    except BaseException as error:
        for stored_as in arrival.new_files:
            if not Evidence.objects.filter(stored_as=stored_as).exists():
                default_storage.delete(stored_as)
        if isinstance(error, IntegrityError):
            raise _here_already(name, "Rows of this archive are here already, or twice in it.") from error
        if isinstance(error, (*MISFITS, DataError)):
            raise refused(name, f"rows that do not fit ({error})", "rows of a bench", AGAIN) from error
        raise


def _here_already(name: str, sentence: str) -> Exception:
    found = f"rows that are here already: {sentence[0].lower()}{sentence[1:].rstrip('.')}"
    remedy = "Delete or rename what is here first; nothing was brought in."
    return refused(name, found, "a bench that is not on this installation", remedy)


def _files_in(archive: zipfile.ZipFile, arrival: _Arrival, progress: Progress) -> None:
    """Keep the archive's files; what other benches keep under the same name is neither changed nor shared unseen."""
    members = sorted(each for each in archive.namelist() if each.startswith(STORED))
    for done, member in enumerate(members):
        progress("Keeping files", LOOKING + PLACING * done / len(members))
        folder, _, own = member.partition("/")
        name = evidence_store.place_of(own) if folder == "evidence" else member
        if default_storage.exists(name):
            if default_storage.size(name) == archive.getinfo(member).file_size and _is_same(archive, member, name):
                arrival.places[member] = name
                continue
            if folder != "certificates":  # named by its digest: what stands there is a part of it that a crash left
                default_storage.delete(name)
        with archive.open(member) as part:
            arrival.places[member] = default_storage.save(name, File(part))
        arrival.new_files.append(arrival.places[member])


def _is_same(archive: zipfile.ZipFile, member: str, stored_as: str) -> bool:
    digest = hashlib.sha256()
    with default_storage.open(stored_as) as stored:
        while block := stored.read(BLOCK):
            digest.update(block)
    return digest.hexdigest() == digest_of(archive, member)


def _rows_in(rows: Rows, arrival: _Arrival, name: str) -> Bench:
    """Insert all rows, then read them back and compare: what is here is what the archive says."""
    for model in travelling():
        _kind_in(rows, model, arrival)
    bench = Bench.objects.get(pk=next(iter(arrival.keys[Bench].values())))
    numbers = Numbers(bench)
    people = {person.pk: username for username, person in arrival.people.items()}
    for model in travelling():
        for some in _some_at_once(rows.of(model)):
            kept = model._base_manager.in_bulk([arrival.keys[model][row["id"]] for row in some])
            for row in some:
                now = canonical(written(kept[arrival.keys[model][row["id"]]], numbers, people))
                if differs := sorted(_differing(model, canonical(row), now)):
                    found = f"{model.__name__} {row['id']}, whose {differs[0]} is not kept as it stands there"
                    raise refused(name, found, "rows of a bench", AGAIN)
    return bench


def _some_at_once(rows: Iterator[AnyRow]) -> Iterator[list[AnyRow]]:
    while some := list(itertools.islice(rows, AT_ONCE)):
        yield some


def _differing(model: type[models.Model], told: AnyRow, now: AnyRow) -> set[str]:
    """Return the fields that are not as told; where others had the address or the name first, it is another."""
    moved = {Bench: "slug", CalibrationRecord: "certificate"}.get(model)
    return {each for each, value in told.items() if each != moved and now[each] != value}


def _kind_in(rows: Rows, model: type[models.Model], arrival: _Arrival) -> None:
    """Insert a model's rows; what they point at must have come in the same archive."""
    arrival.keys[model] = {}
    own = [each.name for each in model._meta.concrete_fields if each.related_model is model]
    checked = rows.checked(model)
    for told in parents_first(checked, own[0]) if own else checked:
        row = model()
        for each in model._meta.concrete_fields:
            if not (each.primary_key and is_numbered(model)):
                setattr(row, each.attname, _value(model, each, told, arrival))
        row.save_base(raw=True, force_insert=True)  # raw: instants that are set by themselves stay as they were
        arrival.keys[model][told["id"]] = row.pk
        for each in model._meta.many_to_many:
            names = arrival.keys[each.related_model]
            getattr(row, each.name).set([names[other] for other in told.get(each.name, [])])


def _value(model: type[models.Model], each: models.Field, told: AnyRow, arrival: _Arrival) -> Any:
    value = settled(model, each, told)
    if model is Evidence and each.name == "stored_as":
        return arrival.places[f"evidence/{told['sha256']}"]
    if model is CalibrationRecord and each.name == "certificate" and value:
        return arrival.places[str(PurePosixPath(value))]
    if model is Bench and each.name == "slug":
        return free_slug(value)
    if value is None or not each.is_relation:
        return value
    if each.related_model is Person:
        return _person(value, arrival).pk
    names = arrival.keys[each.related_model]
    return names[value] if value in names else names[str(each.related_model._meta.pk.to_python(value))]


def free_slug(slug: str) -> str:
    """Return the address a bench gets here: its own, or one close to it where another bench has that."""
    others = itertools.chain([slug], (f"{slug[:54]}-{number}" for number in range(2, 10_000)))
    return next(each for each in others if not Bench.objects.filter(slug=each).exists())


def _person(username: str, arrival: _Arrival) -> Person:
    if username not in arrival.people:
        here = Person.objects.filter(username=username).first() if arrival.same_people else None
        arrival.people[username] = here or _stand_in(username)
    return arrival.people[username]


def _stand_in(username: str) -> Person:
    """Return a new account that nobody can sign in to, by that name or one close to it."""
    names = itertools.chain([username], (f"{username[:140]}+{n}" for n in itertools.count(2)))
    free = next(name for name in names if not Person.objects.filter(username=name).exists())
    return Person.objects.create_user(username=free, is_active=False)
