"""Bytes of evidence, opened safely: digest, compression, archives, encoding, and the limits on size."""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from reduction.errors import Place, UnreadableFile
from reduction.readers.table import Fault, Guess

MAX_BYTES = 1 << 30
MAX_UNPACKED = 1 << 29
MAX_RATIO = 250  # logs shrink 5 to 60 times; only a bomb shrinks more once it is large
RATIO_FROM = 1 << 24
MAX_LINE = 1 << 18
MAX_MEMBERS = 200
_CHUNK = 1 << 20


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
        raise UnreadableFile(place=Place(name), found="an empty file", expected="rows of readings",
            remedy="Export the log again; the upload may have broken off.")  # fmt: skip
    if size > MAX_BYTES:
        raise _too_large(name, size)
    with path.open("rb") as file:
        refuse_endless_line(name, file.read(MAX_LINE + 1))
        file.seek(0)
        data = file.read()
    return _unfold(name, data, hashlib.sha256(data).hexdigest(), size)


def _unfold(name: str, data: bytes, sha256: str, size: int, depth: int = 0) -> tuple[Source, ...]:
    kind = kind_of(data, name)
    if kind in {"gz", "zip"} and depth > 1:
        raise UnreadableFile(place=Place(name), found="an archive inside an archive", expected="log files in one archive",
            remedy="Unpack it and upload the log itself.")  # fmt: skip
    if kind == "gz":
        inner = name[:-3] if name.lower().endswith(".gz") else name
        return _unfold(inner, _gunzip(name, data), sha256, size, depth + 1)
    if kind == "zip":
        return tuple(s for member, content in _members(name, data)
            for s in _unfold(member, content, hashlib.sha256(content).hexdigest(), len(content), depth + 1))  # fmt: skip
    if not data.strip(b"\0 \t\r\n"):
        raise UnreadableFile(place=Place(name), found="nothing but blanks", expected="rows of readings",
            remedy="Export the log again.")  # fmt: skip
    return (Source(name, sha256, size, data, kind),)


def kind_of(data: bytes, name: str) -> str:
    """Tell the kind of file by its first bytes; the name never decides."""
    if data[:2] == b"\x1f\x8b":
        return "gz"
    if data[:4] == b"PAR1":
        return "parquet"
    if data[:4] == b"PK\x03\x04":
        return _kind_of_zip(data, name)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        return "workbook"
    start = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    return "json" if start[:1] in {b"{", b"["} and b'"' in start[:200] else "text"


def _kind_of_zip(data: bytes, name: str) -> str:
    try:
        members = zipfile.ZipFile(io.BytesIO(data)).namelist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError) as error:
        raise _damaged(name, "a zip archive that breaks off") from error
    is_workbook = "[Content_Types].xml" in members or ("content.xml" in members and "mimetype" in members)
    return "workbook" if is_workbook else "zip"


def _members(name: str, data: bytes) -> list[tuple[str, bytes]]:
    archive = zipfile.ZipFile(io.BytesIO(data))
    infos = [i for i in archive.infolist() if not i.is_dir() and not _is_litter(i.filename)]
    if not infos:
        raise _damaged(name, "an archive without files")
    if len(infos) > MAX_MEMBERS:
        raise UnreadableFile(place=Place(name), found=f"{len(infos)} files in one archive",
            expected=f"at most {MAX_MEMBERS}", remedy="Send the logs of one session at a time.")  # fmt: skip
    refuse_bomb(name, archive)
    found = []
    for info in sorted(infos, key=lambda i: i.filename):
        try:
            with archive.open(info) as stream:
                found.append((f"{name}/{info.filename}", _drain(name, stream, max(info.compress_size, 1))))
        except (zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, NotImplementedError, OSError, ValueError) as error:
            if isinstance(error, UnreadableFile):
                raise
            raise _damaged(f"{name}/{info.filename}", "a damaged or locked member") from error
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
    if unpacked > MAX_UNPACKED or (unpacked > RATIO_FROM and unpacked > MAX_RATIO * max(packed, 1)):
        raise _bomb(name, packed, unpacked)


def _drain(name: str, stream: IO[bytes], packed: int) -> bytes:
    """Unpack in pieces and stop as soon as the limits are passed, whatever the archive's list says."""
    pieces: list[bytes] = []
    total = 0
    while piece := stream.read(_CHUNK):
        pieces.append(piece)
        total += len(piece)
        if total > MAX_UNPACKED or (total > RATIO_FROM and total > MAX_RATIO * packed):
            raise _bomb(name, packed, total)
    return b"".join(pieces)


def _gunzip(name: str, data: bytes) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
            return _drain(name, stream, len(data))
    except (OSError, EOFError, zlib.error) as error:
        raise _damaged(name, "a compressed file that breaks off or is damaged") from error


def refuse_endless_line(name: str, head: bytes) -> None:
    """Refuse a text whose first line does not end within any sensible length, before the rest is read.

    Raises
    ------
    UnreadableFile
        If more than 256 KiB pass without a line end in what looks like text.
    """
    is_packed = head[:2] in {b"\x1f\x8b", b"PK", b"\xd0\xcf"} or head[:4] == b"PAR1"
    is_json = head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in {b"[", b"{"}
    if not is_packed and not is_json and len(head) > MAX_LINE and b"\n" not in head and b"\r" not in head:
        raise UnreadableFile(place=Place(name), found=f"a first line of more than {MAX_LINE // 1024} KiB",
            expected="one reading per line", remedy="Check that the file is a log; a heading has at most 2000 columns.")  # fmt: skip


def decode(source: Source, encoding: str | None = None) -> tuple[bytes, Guess, tuple[Fault, ...]]:
    """Return the text as UTF-8 without mark, NUL bytes and old line ends, the encoding found, and what was mended.

    Raises
    ------
    UnreadableFile
        If the bytes are no text.
    """
    data = source.data
    named, because, sure = _encoding_of(data) if encoding is None else (encoding, "as stated", 1.0)
    if named not in {"utf-8", "utf-8-sig"} or because == "as stated":
        try:
            data = data.decode(named, errors="replace" if named.startswith("utf-16") else "strict").encode()
        except (UnicodeDecodeError, LookupError) as error:
            raise _damaged(source.name, f"bytes that are not {named[:30]}") from error
    data = data.removeprefix(b"\xef\xbb\xbf")
    faults: tuple[Fault, ...] = ()
    if nul := data.count(b"\0"):
        if nul > len(data) // 10:
            raise UnreadableFile(place=Place(source.name), found="binary data", expected="a text log, workbook or Parquet file",
                remedy="Export the log from the logger's software as CSV.")  # fmt: skip
        row = data[: data.index(b"\0")].count(b"\n") + 1
        data = data.replace(b"\0", b"")
        faults = (Fault("nul_bytes", nul, row, None, f"{nul} NUL bytes were removed; the logger lost power there."),)
    if b"\r" in data[:MAX_LINE] and b"\n" not in data[:MAX_LINE]:
        data = data.replace(b"\r", b"\n")
    refuse_endless_line(source.name, data[: MAX_LINE + 1])
    refuse_binary(source.name, data[:4096])
    return data, Guess("encoding", named, because, sure), faults


def refuse_binary(name: str, head: bytes) -> None:
    """Refuse what holds control characters no text has.

    Raises
    ------
    UnreadableFile
        With what to do instead.
    """
    odd = sum(b < 9 or 13 < b < 32 for b in head)
    if odd > 0.02 * len(head):
        raise UnreadableFile(place=Place(name), found="binary data", expected="a text log, workbook or Parquet file",
            remedy="Export the log from the logger's software as CSV.")  # fmt: skip


def _encoding_of(data: bytes) -> tuple[str, str, float]:
    if data[:3] == b"\xef\xbb\xbf":
        return "utf-8-sig", "byte-order mark", 1.0
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return "utf-16", "byte-order mark", 1.0
    head = data[:4096]
    odd, even = head[1::2].count(0), head[0::2].count(0)
    if max(odd, even) > 0.3 * len(head) / 2 and min(odd, even) < 0.05 * len(head):
        return ("utf-16-le" if odd > even else "utf-16-be"), "every second byte is zero", 0.95
    try:
        data.decode()
    except UnicodeDecodeError as error:
        try:
            data.decode("cp1252")
        except UnicodeDecodeError:
            return "latin-1", f"byte {data[error.start]:#x} is not UTF-8", 0.6
        return "cp1252", f"byte {data[error.start]:#x} is not UTF-8; read as Western European", 0.8
    return "utf-8", "valid UTF-8", 1.0


def _too_large(name: str, size: int) -> UnreadableFile:
    return UnreadableFile(place=Place(name), found=f"{size / 1e9:.1f} GB", expected=f"at most {MAX_BYTES / 1e9:.1f} GB",
        remedy="Split the log by day.")  # fmt: skip


def _bomb(name: str, packed: int, unpacked: int) -> UnreadableFile:
    return UnreadableFile(place=Place(name), found=f"{packed:,} bytes that unpack to {unpacked / 1e6:,.0f} MB or more",
        expected=f"at most {MAX_UNPACKED >> 20} MiB unpacked and no more than {MAX_RATIO} times the packed size",
        remedy="Upload the log itself, split by day.")  # fmt: skip


def _damaged(name: str, found: str) -> UnreadableFile:
    return UnreadableFile(place=Place(name), found=found, expected="a whole file", remedy="Copy or export it again.")
