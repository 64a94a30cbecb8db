"""A bench out of its archive: checked whole before anything is written, then all of it or nothing."""

from __future__ import annotations

import hashlib
import itertools
import json
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files import File
from django.core.files.storage import default_storage
from django.db import IntegrityError, models, transaction

from reduction.errors import Place, UnreadableFile
from reduction.readers.source import MAX_RATIO, is_bomb
from units import shelf
from units.archive.rows import AnyRow, is_numbered, parents_first, travelling
from units.archive.write import FORMAT
from units.models import Bench, Membership, Person, Role, Unit

BLOCK = 1 << 20
SUM_LINE = re.compile(r"^([0-9a-f]{64})  (\S.*)$")
NAMED_BY_DIGEST = ("evidence/", "published/")
STORED = ("evidence/", "certificates/", "published/")


@dataclass
class _Arrival:
    """What has come in so far: the keys of each model's rows by their names in the archive, and people by name."""

    keys: dict[type[models.Model], dict[Any, Any]] = field(default_factory=dict)
    people: dict[str, Person] = field(default_factory=dict)
    same_people: bool = False


def read(path: Path, *, owner: Person, same_people: bool = False) -> Bench:
    """Bring a bench in and give it to its new owner.

    Whoever the rows name becomes an account that nobody can sign in to, or, with `same_people`, the account that has
    the user name here; either way nobody but the owner gets a role.

    Raises
    ------
    UnreadableFile
        If the file is no archive of a bench, is damaged, or the bench (or one of its addresses) is here already.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            _check(archive, path.name)
            return _brought_in(archive, path.name, owner, _Arrival(same_people=same_people))
    except zipfile.BadZipFile as error:
        raise _refused(path.name, "no zip", "the archive of a bench", "Export the bench again.") from error


def _refused(name: str, found: str, expected: str, remedy: str) -> UnreadableFile:
    return UnreadableFile(place=Place(name), found=found, expected=expected, remedy=remedy)


def _check(archive: zipfile.ZipFile, name: str) -> None:
    """Recompute every checksum; refuse what is damaged, missing, not listed, or unpacks to more than it can hold."""
    members = set(archive.namelist())
    if bomb := next((info for info in archive.infolist() if is_bomb(info.compress_size, info.file_size)), None):
        found = f"{bomb.filename}, {bomb.compress_size:,} bytes that unpack to {bomb.file_size:,}"
        raise _refused(
            name, found, f"parts that unpack to at most {MAX_RATIO} times as much", "Export the bench again."
        )
    if not {"manifest.json", "SHA256SUMS"} <= members:
        raise _refused(name, "no manifest", "the archive of a bench", "Use a file that `export_bench` wrote.")
    stated = json.loads(archive.read("manifest.json")).get("format")
    if stated != FORMAT:
        raise _refused(name, f"format {stated}", FORMAT, "Import it with the version that wrote it.")
    lines = [SUM_LINE.match(line) for line in archive.read("SHA256SUMS").decode().splitlines()]
    sums = {line[2]: line[1] for line in lines if line}
    for member in sorted(members - {"SHA256SUMS"} | sums.keys()):
        if member not in sums or member not in members or _digest(archive, member) != sums[member]:
            raise _refused(name, f"{member} is not as listed", "parts as SHA256SUMS lists them", "Copy the file again.")
        if _is_named_wrongly(member, sums[member]):
            raise _refused(name, f"{member}, whose bytes have another digest", "evidence as it was", "Export it again.")


def _is_named_wrongly(member: str, digest: str) -> bool:
    """Say whether bytes would be kept under another digest than their own: the store is shared by all benches."""
    return member.startswith(NAMED_BY_DIGEST) and PurePosixPath(member).stem != digest


def _digest(archive: zipfile.ZipFile, member: str) -> str:
    digest = hashlib.sha256()
    with archive.open(member) as part:
        while block := part.read(BLOCK):
            digest.update(block)
    return digest.hexdigest()


def _brought_in(archive: zipfile.ZipFile, name: str, owner: Person, arrival: _Arrival) -> Bench:
    try:
        with transaction.atomic():
            for model in travelling():
                _rows_in(archive, model, arrival)
            bench = Bench.objects.get(pk=next(iter(arrival.keys[Bench].values())))
            Membership.objects.create(bench=bench, person=owner, role=Role.OWNER)
            _files_in(archive)
            shelf.refresh(Unit.objects.filter(bench=bench))
            return bench
    except IntegrityError as error:
        raise _refused(
            name,
            "rows that are here already, or an address that another bench uses",
            "a bench that is not on this installation",
            "Delete or rename what is here first; nothing was brought in.",
        ) from error
    except (KeyError, ValueError, ValidationError, json.JSONDecodeError) as error:
        raise _refused(name, f"rows that do not fit ({error})", "rows of a bench", "Export the bench again.") from error


def _lines(archive: zipfile.ZipFile, model: type[models.Model]) -> Iterator[AnyRow]:
    """Yield a model's rows; an archive from before there was the model has none."""
    if f"rows/{model.__name__}.jsonl" not in archive.namelist():
        return
    with archive.open(f"rows/{model.__name__}.jsonl") as part:
        for line in part:
            yield json.loads(line)


def _rows_in(archive: zipfile.ZipFile, model: type[models.Model], arrival: _Arrival) -> None:
    """Insert a model's rows; what they point at must have come in the same archive."""
    arrival.keys[model] = {}
    rows = _lines(archive, model)
    own = [each.name for each in model._meta.concrete_fields if each.related_model is model]
    for data in parents_first(rows, own[0]) if own else rows:
        row = model()
        for each in model._meta.concrete_fields:
            if not (each.primary_key and is_numbered(model)):
                setattr(row, each.attname, _value(each, data[each.name], arrival))
        row.save_base(raw=True, force_insert=True)  # raw: instants that are set by themselves stay as they were
        arrival.keys[model][data["id"]] = row.pk
        for each in model._meta.many_to_many:
            names = arrival.keys[each.related_model]
            getattr(row, each.name).set([names[other] for other in data[each.name]])


def _value(each: models.Field, value: Any, arrival: _Arrival) -> Any:
    if value is None or not each.is_relation:
        return each.to_python(value)
    if each.related_model is Person:
        return _person(value, arrival).pk
    key = each.related_model._meta.pk.to_python(value)
    names = arrival.keys[each.related_model]
    return names[value] if value in names else names[str(key)]


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


def _files_in(archive: zipfile.ZipFile) -> None:
    for member in archive.namelist():
        if not member.startswith(STORED):
            continue
        if ".." in PurePosixPath(member).parts:
            raise ValueError(f"a path that leaves its folder: {member}")
        sha256 = member.removeprefix("evidence/")
        name = f"sha256/{sha256[:2]}/{sha256}" if sha256 != member else member
        if not default_storage.exists(name):
            with archive.open(member) as part:
                default_storage.save(name, File(part))
