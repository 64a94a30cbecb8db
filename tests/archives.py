"""Archives of benches for tests: one changed in some parts, its checksums and content digest made to fit or not."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path

from units.archive import write
from units.archive.rows import canonical

LISTS = ("manifest.json", "SHA256SUMS")
FILES = ("evidence/", "certificates/", "published/")


def archived(bench, to: Path) -> str:
    """Write a bench's archive; return the digest of its content."""
    with to.open("wb") as file:
        return write.write(bench, file)


def parts_of(archive: Path) -> dict[str, bytes]:
    """Return every part of an archive."""
    with zipfile.ZipFile(archive) as parts:
        return {name: parts.read(name) for name in parts.namelist()}


def rewritten(
    archive: Path, to: Path, changed: Mapping[str, bytes | None], *, stated: Mapping[str, object] | None = None,
    fits: bool = True,
) -> Path:  # fmt: skip
    """Write an archive again with parts changed, added or (None) left out; `stated` goes into the manifest.

    Where it `fits`, a forger did it well: counts, digest of the content and checksums are those of the new parts.
    """
    parts = {name: data for name, data in (parts_of(archive) | dict(changed)).items() if data is not None}
    if fits:
        manifest = json.loads(parts["manifest.json"]) | dict(stated or {})
        parts["manifest.json"] = json.dumps(_fitting(manifest, parts)).encode()
        sums = {name: hashlib.sha256(data).hexdigest() for name, data in parts.items() if name != "SHA256SUMS"}
        parts["SHA256SUMS"] = "".join(f"{value}  {name}\n" for name, value in sums.items()).encode()
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            new.writestr(name, data)
    return to


def _fitting(manifest: dict, parts: Mapping[str, bytes]) -> dict:
    """Return the manifest with the counts and the digest of these parts, as the archive's README describes it."""
    content, counts = hashlib.sha256(), {}
    kinds = [*manifest["rows"], *(name[5:-6] for name in parts if name.startswith("rows/"))]
    for kind in dict.fromkeys(kinds):
        rows = _rows(parts.get(f"rows/{kind}.jsonl", b""))
        counts[kind] = len(rows)
        content.update(f"rows/{kind}.jsonl\n".encode())
        for row in rows:
            content.update(json.dumps(canonical(row), ensure_ascii=False, sort_keys=True).encode() + b"\n")
    for name in sorted(each for each in parts if each.startswith(FILES)):
        content.update(f"{hashlib.sha256(parts[name]).hexdigest()}  {name}\n".encode())
    return manifest | {"rows": counts, "content_sha256": content.hexdigest()}


def _rows(part: bytes) -> list:
    """Return the rows of a part; one that no program can read has none."""
    try:
        return [json.loads(line) for line in part.splitlines()]
    except RecursionError:
        return []


def rows_of(archive: Path, kind: str) -> list[dict]:
    """Return the rows of one kind."""
    return [json.loads(line) for line in parts_of(archive)[f"rows/{kind}.jsonl"].splitlines()]


def as_lines(rows: list[dict]) -> bytes:
    """Return rows as they stand in an archive."""
    return b"".join(write.line(row) for row in rows)
