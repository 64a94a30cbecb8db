"""Prove editions from what is kept: digests of documents and tables, their chain, and the points themselves."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.files.storage import default_storage

from reduction import session as doc
from reduction.method import METHOD_VERSION
from reduction.run import reduce_session
from tests_app import evidence_store
from tests_app.models import Reduction
from units.editions import raw
from units.editions.document import canonical, digest
from units.models import Edition

SAME = 1e-6  # relative: the same arithmetic on another processor
FIGURES = ("capacity_w", "capacity_u95_w", "power_w", "power_u95_w")
BLOCK = 1 << 20


@dataclass(frozen=True)
class Outcome:
    """What one check of an edition found; `proved` is None where it could not be made."""

    what: str
    proved: bool | None
    said: str = ""


def verify(edition: Edition, *, points: bool = True) -> Iterator[Outcome]:
    """Check one edition; with `points` every session whose evidence is kept is reduced again."""
    data = edition.document.encode()
    yield Outcome("digest", digest(data) == edition.sha256, "SHA-256 of the document")
    document = json.loads(data)
    yield Outcome("form", canonical(document) == data, "the document is in its canonical form")
    yield _chained(edition, document)
    for key, session in document["sessions"].items():
        if session["raw"]:
            yield _raw(key, session["raw"]["sha256"])
        if points:
            own = [point for point in document["points"].values() if point["session"] == key]
            yield _reduced_again(edition, key, session, own)


def _chained(edition: Edition, document: dict[str, Any]) -> Outcome:
    before = edition.supersedes.sha256 if edition.supersedes_id else ""
    held = document["previous_sha256"] == before and document["number"] == edition.number
    return Outcome("chain", held, "it names the digest of the edition before")


def _raw(key: str, sha256: str) -> Outcome:
    name = raw.stored_name(sha256)
    if not default_storage.exists(name):
        return Outcome(f"table of {key}", None, "the published table is no longer kept")
    found = hashlib.sha256()
    with default_storage.open(name) as stored:
        while block := stored.read(BLOCK):
            found.update(block)
    return Outcome(f"table of {key}", found.hexdigest() == sha256, "SHA-256 of the published table")


def _reduced_again(edition: Edition, key: str, published: dict[str, Any], points: list[dict[str, Any]]) -> Outcome:
    what = f"points of {key}"
    same_input = Reduction.objects.filter(
        session__bench=edition.review.bench_id,
        input_sha256=published["input_sha256"],
        method_version=published["method_version"],
    )
    reduction = same_input.select_related("session").first()
    if reduction is None:
        return Outcome(what, None, "its reduction is no longer kept")
    if published["method_version"] != METHOD_VERSION:
        return Outcome(what, None, f"made by method {published['method_version']}; this is {METHOD_VERSION}")
    files = reduction.session.files.select_related("evidence")
    kept = {file.name: file for file in files}
    wanted = [log["path"] for log in reduction.document["files"]]
    if any(name not in kept or not default_storage.exists(kept[name].evidence.stored_as) for name in wanted):
        return Outcome(what, None, "its log files are no longer kept")
    with evidence_store.folder_of(files) as folder:
        result = reduce_session(doc.Session.model_validate(reduction.document), base=folder)
    return _compared(what, points, {point.start.timestamp(): point for point in result.points})


def _compared(what: str, published: list[dict[str, Any]], now: dict[float, doc.Point]) -> Outcome:
    for point in published:
        again = now.get(datetime.fromisoformat(point["start"]).timestamp())
        if again is None:
            return Outcome(what, False, f"{point['label']} is not found again")
        for name in FIGURES:
            if not math.isclose(getattr(again, name), point[name], rel_tol=SAME, abs_tol=SAME):
                return Outcome(what, False, f"{point['label']}: {name} is {getattr(again, name)}, not {point[name]}")
    return Outcome(what, True, f"{len(published)} reduced again from the kept log files")
