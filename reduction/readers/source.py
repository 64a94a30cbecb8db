"""Bytes of evidence, opened safely: digest, compression, archives, and the limits on size."""

from __future__ import annotations

import bz2
import gzip
import hashlib
import io
import lzma
import re
import tarfile
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from reduction.errors import UnreadableFile
from reduction.readers.refusals import refusal

# Limits on what is unpacked; common practice, no source. Logs shrink 5 to 60 times, only a bomb shrinks more.
MAX_BYTES = 1 << 30
MAX_UNPACKED = 1 << 29
MAX_RATIO = 250
RATIO_FROM = 1 << 24
MAX_LINE = 1 << 18
MAX_MEMBERS = 200
_CHUNK = 1 << 20
_FILLED = re.compile(rb"[^\0 \t\r\n]")
BROKEN_ARCHIVE = (
    zipfile.BadZipFile, tarfile.TarError, zlib.error, lzma.LZMAError, RuntimeError, EOFError, NotImplementedError,
    OSError, ValueError,
)  # fmt: skip
_PACKED_BEGINS = {b"\x1f\x8b": "gz", b"BZh": "bz2", b"\xfd7zXZ\0": "xz"}
_TAR_MARK_AT = slice(257, 262)
_EXPORT = "Export the table of readings from it as CSV."
_FOREIGN = {  # files that testers take for logs: how they begin, what they are, what to do instead
    b"SQLite format 3\0": ("a database file", _EXPORT),
    b"7z\xbc\xaf\x27\x1c": ("a 7-Zip archive", "Pack the logs as zip, or send them as they are."),
    b"Rar!": ("a RAR archive", "Pack the logs as zip, or send them as they are."),
    b"%PDF": ("a PDF document", "Export the readings from the logger's own software as CSV."),
    b"\x89PNG": ("a picture", "Export the readings from the logger's own software as CSV."),
    b"\xff\xd8\xff": ("a picture", "Export the readings from the logger's own software as CSV."),
    b"\x89HDF": ("an HDF5 file", _EXPORT),
}


class Stream(Protocol):
    """What can be read in pieces."""

    def read(self, size: int = -1, /) -> bytes:
        """Return up to `size` bytes."""
        ...


@dataclass(frozen=True)
class Source:
    """One file, or one member of an archive, ready to be read."""

    name: str
    sha256: str
    size_bytes: int
    data: bytes
    kind: str


def open_sources(path: Path, name: str | None = None) -> tuple[Source, ...]:
    """Open a file; an archive gives one source for each member, named `archive.zip/member.csv`.

    Raises
    ------
    UnreadableFile
        If it is empty, too large, damaged, or unpacks to more than any log holds.
    """
    name = name or path.name
    size = path.stat().st_size
    if size == 0:
        raise refusal(name, "an empty file", remedy="Export the log again; the upload may have broken off.")
    if size > MAX_BYTES:
        raise refusal(name, f"{size / 1e9:.1f} GB", f"at most {MAX_BYTES / 1e9:.1f} GB", "Split the log by day.")
    with path.open("rb") as file:
        refuse_endless_line(name, file.read(MAX_LINE + 1))
        file.seek(0)
        data = file.read()
    return _unfold(Source(name, hashlib.sha256(data).hexdigest(), size, data, _kind_of(name, data)), 0)


def _unfold(source: Source, depth: int) -> tuple[Source, ...]:
    if source.kind not in {*_PACKED_BEGINS.values(), "tar", "zip"}:
        _refuse_foreign(source)
        if not _FILLED.search(source.data):
            raise refusal(source.name, "nothing but blanks")
        return (source,)
    if depth > 1:
        raise refusal(source.name, "an archive inside an archive", "log files in one archive", "Unpack it first.")
    if source.kind in _PACKED_BEGINS.values():
        data, name = _unpacked(source), _without_suffix(source.name)
        return _unfold(Source(name, source.sha256, source.size_bytes, data, _kind_of(name, data)), depth + 1)
    inner = [
        Source(name, hashlib.sha256(data).hexdigest(), len(data), data, _kind_of(name, data))
        for name, data in (_members(source) if source.kind == "zip" else _members_of_tar(source))
    ]
    return tuple(leaf for each in inner for leaf in _unfold(each, depth + 1))


def _refuse_foreign(source: Source) -> None:
    found = next((told for begin, told in _FOREIGN.items() if source.data.startswith(begin)), None)
    if found is not None:
        raise refusal(source.name, found[0], "a text log, workbook, Parquet or JSON file", found[1])


def _without_suffix(name: str) -> str:
    if name.lower().endswith(".tgz"):
        return f"{name[:-4]}.tar"
    return re.sub(r"\.(gz|bz2|xz)$", "", name, flags=re.IGNORECASE)


def _kind_of(name: str, data: bytes) -> str:
    """Tell the kind of file by its first bytes; the name never decides."""
    if packed := next((kind for begin, kind in _PACKED_BEGINS.items() if data.startswith(begin)), None):
        return packed
    if data[_TAR_MARK_AT] == b"ustar":
        return "tar"
    if data[:4] == b"PAR1":
        return "parquet"
    if data[:4] == b"PK\x03\x04":
        return _kind_of_zip(name, data)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        return "workbook"
    start = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    return "json" if start[:1] in {b"{", b"["} and b'"' in start[:200] else "text"


def _kind_of_zip(name: str, data: bytes) -> str:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.namelist()
    except BROKEN_ARCHIVE as error:
        raise _damaged(name, "an archive that breaks off or is damaged") from error
    is_workbook = "[Content_Types].xml" in members or ("content.xml" in members and "mimetype" in members)
    return "workbook" if is_workbook else "zip"


def _members(source: Source) -> list[tuple[str, bytes]]:
    found: list[tuple[str, bytes]] = []
    with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        infos = [i for i in archive.infolist() if not i.is_dir() and not _is_litter(i.filename)]
        if not 0 < len(infos) <= MAX_MEMBERS:
            raise refusal(
                source.name, f"{len(infos)} files in one archive", f"1 to {MAX_MEMBERS}", "Send one session at a time."
            )
        refuse_bomb(source.name, archive)
        room = MAX_UNPACKED
        for info in sorted(infos, key=lambda i: i.filename):
            name = f"{source.name}/{info.filename}"
            try:
                with archive.open(info) as stream:
                    data = _drain(name, stream, max(info.compress_size, 1), room)
            except UnreadableFile:
                raise
            except BROKEN_ARCHIVE as error:
                raise _damaged(name, "a damaged or locked member") from error
            room -= len(data)
            found.append((name, data))
    return found


def _is_litter(member: str) -> bool:
    base = member.rsplit("/", 1)[-1]
    return member.startswith("__MACOSX/") or base.startswith(".") or base in {"Thumbs.db", "desktop.ini"}


def refuse_bomb(name: str, archive: zipfile.ZipFile) -> None:
    """Refuse an archive whose own list says that it unpacks to more than any log holds.

    Raises
    ------
    UnreadableFile
        With the size it would have unpacked to.
    """
    packed = sum(i.compress_size for i in archive.infolist())
    unpacked = sum(i.file_size for i in archive.infolist())
    if _is_bomb(packed, unpacked, MAX_UNPACKED):
        raise _bomb(name, packed, unpacked)


def is_bomb(packed: int, unpacked: int) -> bool:
    """Say whether so many bytes [B] come of so few as only a bomb makes.

    Examples
    --------
    >>> is_bomb(1_000, 100_000_000), is_bomb(10_000_000, 100_000_000), is_bomb(10, 10_000)
    (True, False, False)
    """
    return unpacked > RATIO_FROM and unpacked > MAX_RATIO * max(packed, 1)


def _is_bomb(packed: int, unpacked: int, room: int) -> bool:
    return unpacked > room or is_bomb(packed, unpacked)


def _drain(name: str, stream: Stream, packed: int, room: int = MAX_UNPACKED) -> bytes:
    """Unpack in pieces and stop as soon as the limits are passed, whatever the archive's list says."""
    pieces: list[bytes] = []
    total = 0
    while piece := stream.read(_CHUNK):
        pieces.append(piece)
        total += len(piece)
        if _is_bomb(packed, total, room):
            raise _bomb(name, packed, total)
    return b"".join(pieces)


def _unpacked(source: Source) -> bytes:
    packed = io.BytesIO(source.data)
    try:
        with _opened(source.kind, packed) as stream:
            return _drain(source.name, stream, len(source.data))
    except UnreadableFile:
        raise
    except BROKEN_ARCHIVE as error:
        raise _damaged(source.name, "a compressed file that breaks off or is damaged") from error


def _opened(kind: str, packed: io.BytesIO) -> gzip.GzipFile | bz2.BZ2File | lzma.LZMAFile:
    if kind == "gz":
        return gzip.GzipFile(fileobj=packed)
    return bz2.BZ2File(packed) if kind == "bz2" else lzma.LZMAFile(packed)


def _members_of_tar(source: Source) -> list[tuple[str, bytes]]:
    """Read the files of a tar archive; its links, devices and paths are not followed."""
    found: list[tuple[str, bytes]] = []
    try:
        with tarfile.open(fileobj=io.BytesIO(source.data), mode="r:") as archive:
            for info in archive:
                stream = archive.extractfile(info) if info.isreg() and not _is_litter(info.name) else None
                if stream is not None:
                    name = f"{source.name}/{info.name.removeprefix('./')}"
                    found.append((name, _drain(name, stream, len(source.data))))
    except UnreadableFile:
        raise
    except BROKEN_ARCHIVE as error:
        raise _damaged(source.name, "an archive that breaks off or is damaged") from error
    if not 0 < len(found) <= MAX_MEMBERS:
        raise refusal(
            source.name, f"{len(found)} files in one archive", f"1 to {MAX_MEMBERS}", "Send one session at a time."
        )
    return sorted(found)


def refuse_endless_line(name: str, head: bytes) -> None:
    """Refuse a text whose first line does not end within any sensible length, before the rest is read.

    Raises
    ------
    UnreadableFile
        If more than 256 KiB pass without a line end in what looks like text.
    """
    is_packed = head.startswith((*_PACKED_BEGINS, *_FOREIGN, b"PK", b"\xd0\xcf", b"PAR1")) or (
        head[_TAR_MARK_AT] == b"ustar"
    )
    is_json = head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in {b"[", b"{"}
    if not is_packed and not is_json and len(head) > MAX_LINE and b"\n" not in head and b"\r" not in head:
        raise refusal(name, f"a first line of more than {MAX_LINE >> 10} KiB", "one reading per line",
            "Check that the file is a log: a heading has at most 2000 columns.")  # fmt: skip


def _bomb(name: str, packed: int, unpacked: int) -> UnreadableFile:
    return refusal(name, f"{packed:,} bytes that unpack to {unpacked / 1e6:,.0f} MB or more",
        f"at most {MAX_UNPACKED >> 20} MiB unpacked and no more than {MAX_RATIO} times the packed size",
        "Send the log itself, split by day.")  # fmt: skip


def _damaged(name: str, found: str) -> UnreadableFile:
    return refusal(name, found, "a whole file", "Copy or export it again.")
