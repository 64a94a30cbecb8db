"""An archive looked at before anything of it is kept: whole, within limits, understood; what it holds and meets."""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from django.conf import settings
from django.db import models

from reduction.readers.source import MAX_RATIO, is_bomb
from reduction.run import Progress
from units.archive.incoming import AGAIN, MOST_PEOPLE, Rows
from units.archive.rows import LOCAL, AnyRow, canonical, is_numbered, travelling
from units.archive.versions import is_newer, refused, version_of
from units.archive.write import heading, line, of_file
from units.models import Bench, Person

BLOCK = 1 << 20
AT_ONCE = 500
HERE = "This bench is on this installation already."  # and with it all its rows, which say nothing more
MOST_BYTES_OF_A_LIST = 1 << 26
MOST_MEMBERS = 100_000
SUM_LINE = re.compile(r"^([0-9a-f]{64})  (\S.*)$")
NAMED_BY_DIGEST = ("evidence/", "published/")
STORED = ("evidence/", "certificates/", "published/")
OPENED_BY_ALL = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeDecodeError)
DIGESTS, ROWS = 0.7, 0.3  # shares of the work


def quiet(stage: str, part: float) -> None:
    """Tell nobody how far it is."""


@dataclass(frozen=True)
class Look:
    """What an archive holds, every digest and row of it looked at, and what stands in its way here."""

    name: str
    slug: str
    exported_at: str
    version: int
    method_version: str
    content_sha256: str
    counts: dict[str, int]
    files: int
    file_bytes: int
    unpacked_bytes: int
    synthetic: bool
    people: tuple[str, ...]
    clashes: tuple[str, ...]

    def as_data(self) -> dict[str, Any]:
        """Return it as JSON holds it."""
        return asdict(self) | {"people": list(self.people), "clashes": list(self.clashes)}


@contextmanager
def opened(path: Path, name: str) -> Iterator[zipfile.ZipFile]:
    """Open the zip; whatever is damaged in it is told as such, while it is read too."""
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except DAMAGED as error:
        raise refused(name, "no zip, or a damaged one", "the archive of a bench", AGAIN) from error


def look(path: Path, *, name: str = "", progress: Progress = quiet) -> Look:
    """Look at an archive; nothing is kept of it.

    Raises
    ------
    UnreadableFile
        If the file is no archive of a bench, is damaged, is from a newer version or holds what no bench holds.
    """
    name = name or path.name
    with opened(path, name) as archive:
        return looked_at(archive, name, progress)


def looked_at(archive: zipfile.ZipFile, name: str, progress: Progress = quiet) -> Look:
    """Look at an opened archive."""
    _refuse_size(archive, name)
    manifest = _manifest(archive, name)
    version = version_of(manifest, name)
    sums = _digests(archive, name, progress)
    rows = Rows(archive, name, version)
    if unknown := rows.kinds_unknown_here():
        raise is_newer(name, f"a part {unknown[0]}")
    seen = _Seen(rows, name)
    for done, model in enumerate(kinds := travelling()):
        progress("Reading rows", DIGESTS + ROWS * done / len(kinds))
        seen.look_at(model)
    stated = {kind: count for kind, count in manifest["rows"].items() if count}
    if stated != seen.counts or _content(rows, manifest, sums) != manifest["content_sha256"]:
        raise refused(name, "rows that are not as listed", "rows as manifest.json lists them", AGAIN)
    files = [info for info in archive.infolist() if info.filename.startswith("evidence/")]
    return Look(
        **{each: str(seen.bench[each]) for each in ("name", "slug")},
        **{each: str(manifest.get(each, "")) for each in ("exported_at", "method_version", "content_sha256")},
        version=version,
        counts=seen.counts,
        files=len(files),
        file_bytes=sum(info.file_size for info in files),
        unpacked_bytes=sum(info.file_size for info in archive.infolist()),
        synthetic=bool(seen.bench.get("is_synthetic")),
        people=tuple(sorted(seen.people)),
        clashes=(HERE,) if HERE in seen.clashes else tuple(seen.clashes),
    )


def _refuse_size(archive: zipfile.ZipFile, name: str) -> None:
    """Refuse what unpacks to more than a bench may hold, before any of it is unpacked."""
    parts = archive.infolist()
    for info in parts:
        if is_bomb(info.compress_size, info.file_size):
            found = f"{info.filename}, {info.compress_size:,} bytes that unpack to {info.file_size:,}"
            raise refused(name, found, f"parts that unpack to at most {MAX_RATIO} times as much", AGAIN)
        if info.flag_bits & 1 or info.compress_type not in OPENED_BY_ALL:
            raise refused(name, f"{info.filename}, packed in another way", "parts that any zip program opens", AGAIN)
        if any(each in {"..", ""} for each in PurePosixPath(info.filename).parts) or "\\" in info.filename:
            raise refused(name, f"a path that leaves its folder: {info.filename}", "paths of an archive", AGAIN)
    if len(parts) != len(set(archive.namelist())):
        raise refused(name, "a part that is there twice", "each part once", AGAIN)
    unpacked = sum(info.file_size for info in parts)
    if len(parts) > MOST_MEMBERS or unpacked > settings.BENCH_MOST_BYTES:
        found = f"{len(parts):,} parts that unpack to {unpacked:,} bytes"
        most = f"at most {MOST_MEMBERS:,} parts and {settings.BENCH_MOST_BYTES:,} bytes"
        raise refused(name, found, most, "Ask who runs this site for more room.")


def _manifest(archive: zipfile.ZipFile, name: str) -> dict[str, Any]:
    try:
        manifest = json.loads(_listing(archive, "manifest.json", name))
    except (ValueError, RecursionError) as error:
        raise refused(name, "a manifest that is no JSON", "the archive of a bench", AGAIN) from error
    version_of(manifest, name)
    if not isinstance(manifest.get("rows"), dict) or not isinstance(manifest.get("content_sha256"), str):
        raise refused(name, "a manifest without its list", "the archive of a bench", AGAIN)
    return manifest


def _listing(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    """Return a part that lists the others, where it is there and no longer than a list."""
    try:
        info = archive.getinfo(member)
    except KeyError as error:
        remedy = "Use a file that an export of a whole bench wrote."
        raise refused(name, f"no {member}", "the archive of a bench", remedy) from error
    if info.file_size > MOST_BYTES_OF_A_LIST:
        raise refused(name, f"{member} of {info.file_size:,} bytes", "a list of parts", AGAIN)
    return archive.read(info)


def _digests(archive: zipfile.ZipFile, name: str, progress: Progress) -> dict[str, str]:
    """Recompute every checksum; refuse what is damaged, missing or not listed."""
    lines = [SUM_LINE.match(each) for each in _listing(archive, "SHA256SUMS", name).decode().splitlines()]
    sums = {each[2]: each[1] for each in lines if each}
    members = set(archive.namelist()) - {"SHA256SUMS"}
    done, total = 0, sum(info.file_size for info in archive.infolist()) or 1
    for member in sorted(members | sums.keys()):
        progress("Checking digests", DIGESTS * done / total)
        if member not in sums or member not in members or digest_of(archive, member) != sums[member]:
            raise refused(name, f"{member} is not as listed", "parts as SHA256SUMS lists them", "Copy the file again.")
        if member.startswith(NAMED_BY_DIGEST) and PurePosixPath(member).stem != sums[member]:
            # the store is shared by all benches: no bytes may be kept under another digest than their own
            raise refused(name, f"{member}, whose bytes have another digest", "evidence as it was", AGAIN)
        done += archive.getinfo(member).file_size
    return sums


def digest_of(archive: zipfile.ZipFile, member: str) -> str:
    """Return the SHA-256 of a part."""
    digest = hashlib.sha256()
    with archive.open(member) as part:
        while block := part.read(BLOCK):
            digest.update(block)
    return digest.hexdigest()


def _content(rows: Rows, manifest: dict[str, Any], sums: dict[str, str]) -> str:
    """Return the digest of the content by the rows as they stand in the file, whatever version wrote it."""
    content = hashlib.sha256()
    for kind in manifest["rows"]:
        content.update(heading(kind))
        for row in rows.written(kind):
            content.update(line(canonical(row)))
    for member in sorted(each for each in sums if each.startswith(STORED)):
        content.update(of_file(member, sums[member]))
    return content.hexdigest()


class _Seen:
    """What the rows hold, counted while they are looked at."""

    def __init__(self, rows: Rows, name: str) -> None:
        self._rows, self._name = rows, name
        self.counts: dict[str, int] = {}
        self.people: set[str] = set()
        self.clashes: list[str] = []
        self.bench: AnyRow = {}

    def look_at(self, model: type[models.Model]) -> None:
        """Check and count a kind's rows; note whom they name and what of them is here already."""
        named = [each.name for each in model._meta.concrete_fields if each.related_model is Person]
        some: list[AnyRow] = []
        count = 0
        for row in self._rows.checked(model):
            count += 1
            self.people |= {row[each] for each in named if row.get(each) is not None}
            some.append(row)
            if len(some) == AT_ONCE:
                self._note_clashes(model, some)
                some = []
        self._note_clashes(model, some)
        if count:
            self.counts[model.__name__] = count
        if model is Bench:
            if count != 1:
                raise refused(self._name, f"{count} benches", "one bench", AGAIN)
            self.bench = row
        if len(self.people) > MOST_PEOPLE:
            raise refused(self._name, "more people than work at a bench", f"at most {MOST_PEOPLE}", AGAIN)

    def _note_clashes(self, model: type[models.Model], some: list[AnyRow]) -> None:
        """Note rows that are here already; a bench's own address is no clash, for it gets another."""
        for each in model._meta.concrete_fields:
            alone = each.unique and not each.is_relation and not (each.primary_key and is_numbered(model))
            if (
                not some
                or not alone
                or (model is Bench and each.name == "slug")
                or each.name in LOCAL.get(model.__name__, ())
            ):
                continue
            values = [row[each.name] for row in some if row.get(each.name) is not None]
            taken = model._base_manager.filter(**{f"{each.name}__in": values}).values_list(each.name, flat=True)[:1]
            self.clashes += [_clash(model, each, value) for value in taken]


def _clash(model: type[models.Model], each: models.Field, value: Any) -> str:
    if model is Bench:
        return HERE
    if each.name == "slug":
        return f"The address of a review, “{value}”, is used by another one here."
    return f"Rows of this archive are here already ({model._meta.verbose_name})."
