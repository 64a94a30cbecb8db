"""Bytes of a text to clean UTF-8, with the encoding found and what had to be mended."""

from __future__ import annotations

import re

import pyarrow as pa

from reduction.readers.refusals import refusal
from reduction.readers.source import MAX_LINE, Source, refuse_endless_line
from reduction.readers.table import Fault, Guess

_UTF8_MARK = b"\xef\xbb\xbf"
_HEAD = 4096
_MOST_NUL = 0.1  # share of NUL bytes beyond which it is no text with a power cut, common practice
_MOST_CONTROL = 0.02
_SAMPLE, _ASCII = 1 << 16, 127
_FEW_SIGNS, _MOST_SIGNS = 6, 0.7  # signs beyond ASCII, and which share must stand in words; common practice
_FAR_EASTERN = (
    ("cp932", "[\u3040-\u30ff\u4e00-\u9fff\u2100-\u214f\u00b0\u00b2\u00b3\uff00-\uff60\u3000-\u303f]"),
    ("cp949", "[\uac00-\ud7a3\u2100-\u214f]"),
    ("gb18030", "[\u4e00-\u9fff\u2100-\u214f\uff00-\uff60\u3000-\u303f]"),
)
_CONTROL = bytes({*range(9), *range(14, 32)})


def decode(source: Source, encoding: str | None = None) -> tuple[bytes, Guess, tuple[Fault, ...]]:
    """Return the text as UTF-8 without mark, NUL bytes and old line ends, the encoding, and what was mended.

    Raises
    ------
    UnreadableFile
        If the bytes are no text, or not in the encoding that was stated.
    """
    data = source.data
    guess = Guess("encoding", encoding, "as stated", 1.0) if encoding else _encoding_of(data)
    if encoding or not guess.value.startswith("utf-8") or guess.sure < 1.0:
        data = _recoded(source, guess)
    data = data.removeprefix(_UTF8_MARK)
    data, faults = _without_nul(source.name, data)
    if b"\r" in data[:MAX_LINE] and b"\n" not in data[:MAX_LINE]:
        data = data.replace(b"\r", b"\n")
    refuse_endless_line(source.name, data[: MAX_LINE + 1])
    _refuse_binary(source.name, data[:_HEAD])
    return data, guess, faults


def _recoded(source: Source, guess: Guess) -> bytes:
    strict = guess.because == "as stated"
    try:
        return source.data.decode(guess.value, errors="strict" if strict else "replace").encode()
    except (UnicodeDecodeError, LookupError) as error:
        raise refusal(source.name, f"bytes that are not {guess.value[:30]}", "text in the stated encoding",
            "State another encoding, or none to have it detected.") from error  # fmt: skip


def _without_nul(name: str, data: bytes) -> tuple[bytes, tuple[Fault, ...]]:
    if b"\0" not in data:
        return data, ()
    nul = data.count(b"\0")
    if nul > _MOST_NUL * len(data):
        raise _binary(name)
    row = data.count(b"\n", 0, data.index(b"\0")) + 1
    sentence = f"{nul} NUL bytes were removed, the first in row {row}; loggers leave them when the power goes."
    return data.replace(b"\0", b""), (Fault("nul_bytes", nul, row, None, sentence),)


def _refuse_binary(name: str, head: bytes) -> None:
    if len(head) - len(head.translate(None, _CONTROL)) > _MOST_CONTROL * len(head):
        raise _binary(name)


def _binary(name: str) -> Exception:
    return refusal(name, "binary data", "a text log, workbook or Parquet file",
        "Export the log from the logger's own software as CSV.")  # fmt: skip


def _encoding_of(data: bytes) -> Guess:
    """Find the encoding: a mark, every second byte zero, valid UTF-8, UTF-8 with damage, else Western European."""
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return Guess("encoding", "utf-16", "byte-order mark", 1.0)
    head = data[:_HEAD]
    odd, even = head[1::2].count(0), head[0::2].count(0)
    if max(odd, even) > 0.15 * len(head) and min(odd, even) < 0.05 * len(head):
        return Guess("encoding", "utf-16-le" if odd > even else "utf-16-be", "every second byte is zero", 0.95)
    if not _is_utf8(data):
        return _not_utf8(data)
    if data[:3] == _UTF8_MARK:
        return Guess("encoding", "utf-8-sig", "byte-order mark", 1.0)
    return Guess("encoding", "utf-8", "valid UTF-8", 1.0)


def _is_utf8(data: bytes) -> bool:
    """Check without making a text of it, which takes as long again as reading the table does."""
    ends = pa.array([0, len(data)], pa.int64()).buffers()[1]
    try:
        pa.Array.from_buffers(pa.large_string(), 1, [None, ends, pa.py_buffer(data)]).validate(full=True)
    except pa.ArrowInvalid:
        return False
    return True


def _not_utf8(data: bytes) -> Guess:
    text = data.decode(errors="replace")
    first = len(text[: text.index("\ufffd")].encode())
    damaged = text.count("\ufffd")
    if sum(ord(c) > 127 for c in text) - damaged > damaged or data[:3] == _UTF8_MARK:
        return Guess("encoding", "utf-8", f"UTF-8 with {damaged} damaged byte(s), the first at {first:,}", 0.8)
    if far := _far_eastern(data):
        return Guess("encoding", far, f"byte {data[first]:#x} is not UTF-8; as {far} its signs make words", 0.8)
    because = f"byte {data[first]:#x} is not UTF-8; read as Western European"
    holes = any(bytes([byte]) in data for byte in (0x81, 0x8D, 0x8F, 0x90, 0x9D))
    return Guess("encoding", "latin-1" if holes else "cp1252", because, 0.6 if holes else 0.8)


def _far_eastern(data: bytes) -> str | None:
    """Return the encoding in which the bytes beyond ASCII are Japanese, Korean or Chinese words of two signs or more.

    A lone umlaut or degree sign of Western text makes a lone sign with the letter behind it.
    """
    lines = [line for line in data[:_SAMPLE].split(b"\n")[:-1] or [data] if not line.isascii()]
    for encoding, signs in _FAR_EASTERN:
        try:
            text = b"\n".join(lines).decode(encoding)
        except UnicodeDecodeError:
            continue
        beyond = sum(ord(c) > _ASCII for c in text)
        in_words = sum(len(word) for word in re.findall(f"{signs}{{2,}}", text))
        if beyond >= _FEW_SIGNS and in_words >= _MOST_SIGNS * beyond:
            return encoding
    return None
