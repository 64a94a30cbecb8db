"""Files named by their SHA-256 on Django's storage: kept once, byte for byte, never written over."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import IO

from django.conf import settings
from django.core.files import File
from django.core.files.storage import default_storage

from reduction.errors import Place, UnreadableFile
from tests_app.models import SessionFile
from tests_app.whole_files import HALVES

BLOCK = 1 << 20
MEGABYTE = 1 << 20


@dataclass(frozen=True)
class Arrival:
    """A file that has come in whole and is not kept yet; it can be read at `path`, which bears its name."""

    path: Path
    sha256: str
    size_bytes: int


class _Movable(File):
    """A scratch file that local storage may move into place instead of copying."""

    def temporary_file_path(self) -> str:
        return self.file.name


@contextmanager
def arriving(blocks: Iterable[bytes], *, name: str) -> Iterator[Arrival]:
    """Write the blocks to scratch while counting and hashing them; what is not kept by then is gone afterwards."""
    settings.PARTIAL_UPLOAD_DIR.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=settings.PARTIAL_UPLOAD_DIR, prefix="arriving-") as scratch:
        path = Path(scratch) / PurePosixPath(name).name
        with path.open("wb") as file:
            sha256, size = _copy(blocks, file, name)
            file.flush()
            os.fsync(file.fileno())  # a row never names bytes that a power cut may still take
        yield Arrival(path, sha256, size)


def sweep(*, before: datetime) -> int:
    """Remove scratch that a process which died left behind; return how many."""
    old = [
        scratch
        for scratch in settings.PARTIAL_UPLOAD_DIR.glob("arriving-*")
        if datetime.fromtimestamp(scratch.stat().st_mtime, UTC) < before
    ]
    for scratch in old:
        shutil.rmtree(scratch, ignore_errors=True)
    dead = list(halves(before=before))
    for name in dead:
        default_storage.delete(name)
    return len(old) + len(dead)


def halves(*, before: datetime) -> Iterator[str]:
    """Yield files in the store that a process began to write before then and has not named: it died."""
    for name in (f"{HALVES}/{one}" for one in _listed(HALVES)[1]):
        with suppress(FileNotFoundError):  # it has its name now
            if default_storage.get_modified_time(name) < before:
                yield name


def keep(arrival: Arrival) -> str:
    """Give the file its place in the store, where it may stand already, and return the name it is stored by.

    A process that died while it copied may have left a part of the file there; that is replaced by the whole.
    """
    stored_as = place_of(arrival.sha256)
    if default_storage.exists(stored_as):
        if default_storage.size(stored_as) == arrival.size_bytes:
            return stored_as
        default_storage.delete(stored_as)
    with arrival.path.open("rb") as file:
        saved_as = default_storage.save(stored_as, _Movable(file))
    if saved_as != stored_as:  # another process kept the same bytes meanwhile
        default_storage.delete(saved_as)
    return stored_as


def place_of(sha256: str) -> str:
    """Return where a file of this digest stands in the store."""
    return f"sha256/{sha256[:2]}/{sha256}"


def stored_evidence() -> Iterator[str]:
    """Yield the name of every evidence file in the store, whether a row names it or not."""
    for folder in _listed("sha256")[0]:
        yield from (f"sha256/{folder}/{name}" for name in _listed(f"sha256/{folder}")[1])


def _copy(blocks: Iterable[bytes], to: IO[bytes], name: str) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    for block in blocks:
        digest.update(block)
        size += len(block)
        refuse_size(size, name=name)
        to.write(block)
    if not size:
        raise UnreadableFile(
            place=Place(name),
            found="no bytes",
            expected="a log file with a header and rows",
            remedy="Export it again from the logger; it may still be open there.",
        )
    return digest.hexdigest(), size


def refuse_size(size_bytes: int, *, name: str) -> None:
    """Raise where a file is larger than this installation takes."""
    if size_bytes > settings.MAX_UPLOAD_BYTES:
        raise UnreadableFile(
            place=Place(name),
            found=f"more than {settings.MAX_UPLOAD_BYTES // MEGABYTE} MB",
            expected="a smaller file",
            remedy="Split it by day or leave out columns that are not needed.",
        )


def blocks_of(stored_as: str) -> Iterator[bytes]:
    """Yield a stored file block by block."""
    with default_storage.open(stored_as) as stored:
        while block := stored.read(BLOCK):
            yield block


@contextmanager
def local_path(stored_as: str) -> Iterator[Path]:
    """Give a path to read a stored file from: its own on local storage, a passing copy on any other."""
    try:
        path = Path(default_storage.path(stored_as))
    except NotImplementedError:
        with tempfile.NamedTemporaryFile() as copy, default_storage.open(stored_as) as stored:
            shutil.copyfileobj(stored, copy, BLOCK)
            copy.flush()
            yield Path(copy.name)
    else:
        yield path


@contextmanager
def folder_of(files: Iterable[SessionFile]) -> Iterator[Path]:
    """Give a folder in which the files stand under the names they came with, linked and not copied."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        for file in files:
            stored = stack.enter_context(local_path(file.evidence.stored_as))
            named = folder / file.name
            named.parent.mkdir(parents=True, exist_ok=True)
            named.symlink_to(stored)
        yield folder


# --- parts of a resumable upload -------------------------------------------------------------------------


def part_name(upload_id: object, offset: int) -> str:
    """Return where the part that begins at `offset` is stored; names sort in the order of the bytes."""
    return f"partial/{upload_id}/{offset:015d}"


def keep_part(upload_id: object, offset: int, file: File) -> None:
    """Store one part; the same part sent twice is one."""
    name = part_name(upload_id, offset)
    default_storage.delete(name)
    default_storage.save(name, file)


def blocks_of_parts(upload_id: object) -> Iterator[bytes]:
    """Yield the parts of an upload, joined, block by block."""
    for name in _parts(upload_id):
        yield from blocks_of(name)


def forget_parts(upload_id: object) -> None:
    """Remove every part of an upload."""
    for name in _parts(upload_id):
        default_storage.delete(name)
    default_storage.delete(f"partial/{upload_id}")


def size_of_parts(upload_id: object) -> int:
    """Return how many bytes of an upload are stored."""
    return sum(default_storage.size(name) for name in _parts(upload_id))


def uploads_with_parts() -> list[str]:
    """Return the ids of uploads that have parts in the store."""
    return _listed("partial")[0]


def _parts(upload_id: object) -> list[str]:
    folder = f"partial/{upload_id}"
    return [f"{folder}/{name}" for name in sorted(_listed(folder)[1])]


def _listed(folder: str) -> tuple[list[str], list[str]]:
    try:
        return default_storage.listdir(folder)
    except FileNotFoundError:
        return [], []
