"""The versions of the format: which one a file has, and how rows of an earlier one become rows of this one."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from reduction.errors import Place, UnreadableFile
from units.archive.rows import AnyRow

VERSION = 2
FORMAT = f"cooling-ledger-bench/{VERSION}"
STATED = re.compile(r"^cooling-ledger-bench/([1-9]\d{0,3})$")


@dataclass(frozen=True)
class Step:
    """Rows of one kind, as the version before `to` wrote them, become rows as version `to` writes them."""

    to: int
    kind: str
    change: Callable[[AnyRow], AnyRow]


def where_evidence_lay_is_left_out(row: AnyRow) -> AnyRow:
    """The first version told where a file lay on the machine it came from; it is kept by its digest wherever it is."""
    return {name: value for name, value in row.items() if name != "stored_as"}


STEPS = (Step(2, "Evidence", where_evidence_lay_is_left_out),)


def refused(name: str, found: str, expected: str, remedy: str) -> UnreadableFile:
    """Return the refusal of an archive, in words."""
    return UnreadableFile(place=Place(name), found=found, expected=expected, remedy=remedy)


def version_of(manifest: Any, name: str) -> int:
    """Return the version a manifest states.

    Raises
    ------
    UnreadableFile
        If it states none, or one that only a newer installation knows.
    """
    stated = manifest.get("format") if isinstance(manifest, dict) else None
    known = STATED.match(stated) if isinstance(stated, str) else None
    if known is None:
        raise refused(name, f"format {stated}", FORMAT, "Use a file that an export of a whole bench wrote.")
    if (version := int(known[1])) > VERSION:
        raise is_newer(name, f"version {version} of the format")
    return version


def is_newer(name: str, found: str) -> UnreadableFile:
    """Return the refusal of what a later version of the program wrote: reading it in part would lose the rest."""
    return refused(
        name,
        f"{found}, which a newer version of the program writes",
        f"at most version {VERSION} with the rows and fields that are known here",
        "Update this installation, then bring the archive in again.",
    )


def upgraded(kind: str, row: AnyRow, *, version: int) -> AnyRow:
    """Return a row of an earlier version as this version has it, by each step on the way.

    >>> upgraded("Evidence", {"sha256": "ab", "stored_as": "sha256/ab/ab"}, version=1)
    {'sha256': 'ab'}
    """
    for step in STEPS:
        if step.kind == kind and step.to > version:
            row = step.change(row)
    return row
