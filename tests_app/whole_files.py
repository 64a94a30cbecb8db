"""Files that are whole under their name or not there at all: what a full disk or a crash cut short bears no name."""

from __future__ import annotations

import errno
import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from django.core.files import File
from django.core.files.storage import FileSystemStorage

HALVES = "halves"
NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}


class WholeFiles(FileSystemStorage):
    """Local storage that writes a file aside, then gives it its name in one step; nothing is left where it cannot."""

    def _save(self, name: str, content: File) -> str:
        half = f"{HALVES}/{uuid.uuid4().hex}"
        try:
            super()._save(half, content)
            with self.open(half) as written:
                os.fsync(written.fileno())  # a row never names bytes that a power cut may still take
            return self._named(half, name)
        finally:
            self.delete(half)

    def _named(self, half: str, name: str) -> str:
        """Give the written file its name, or one close to it where another process has taken that meanwhile."""
        while True:
            place = Path(self.path(name))
            place.parent.mkdir(parents=True, exist_ok=True)
            try:
                _link(Path(self.path(half)), place)
            except FileExistsError:
                name = self.get_available_name(name)
            else:
                return name


def _link(half: Path, place: Path) -> None:
    """Name a file, never over another; where a shared folder has no links, its name is taken first."""
    try:
        os.link(half, place)
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        place.open("x").close()
        half.replace(place)


@contextmanager
def written_whole(path: Path, *, mode: int = 0o666) -> Iterator[IO[bytes]]:
    """Open a file beside its place and move it there once all of it is written; what fails leaves nothing."""
    half = path.with_name(f"{path.name}.{uuid.uuid4().hex[:8]}.part")
    try:
        with open(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    finally:
        half.unlink(missing_ok=True)
