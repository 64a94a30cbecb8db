"""What must always hold of evidence, reductions, uploads and jobs, each looked at row by row."""

from __future__ import annotations

import hashlib
import json
import posixpath
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

from django.core.files.storage import default_storage
from django.db import models
from django.db.models import Count, F, Q
from pydantic import ValidationError

from reduction import session as doc
from reduction.run import session_digest
from tests_app import evidence_store
from tests_app.actions import jobs
from tests_app.actions.reduce import SAME_IN_FINDING, SAME_IN_POINT
from tests_app.actions.upload import PARTIAL_LIFETIME
from tests_app.models import Channel, Evidence, Job, PartialUpload, Point, Reduction, Session
from units.models import Bench

AnyModel = TypeVar("AnyModel", bound=models.Model)
WELL = ""  # yielded for each thing that was looked at and holds
AT_ONCE = 50


def rows_of(model: type[AnyModel], bench: Bench | None) -> models.QuerySet[AnyModel]:
    """Return a model's rows of one bench, or without one of all."""
    return model._default_manager.filter(**({model.bench_path or "pk": bench.pk} if bench else {}))


def evidence_is_whole(bench: Bench | None = None) -> Iterator[str]:
    """Every file's bytes are kept, hash to their name and are as many as their row says."""
    for row in rows_of(Evidence, bench).order_by("pk").iterator(AT_ONCE):
        name = f"evidence {row.sha256[:12]}… of bench {row.bench_id}"
        if not default_storage.exists(row.stored_as):
            yield f"{name}: its bytes are gone ({row.stored_as})"
            continue
        digest, size = hashlib.sha256(), 0
        for block in evidence_store.blocks_of(row.stored_as):
            digest.update(block)
            size += len(block)
        if digest.hexdigest() != row.sha256:
            yield f"{name}: its bytes hash to {digest.hexdigest()[:12]}…"
        elif size != row.size_bytes:
            yield f"{name}: {size} bytes are kept, its row says {row.size_bytes}"
        elif posixpath.basename(row.stored_as) != row.sha256:
            yield f"{name}: stored as {row.stored_as}, not under its digest"
        else:
            yield WELL


def reductions_are_of_their_documents(bench: Bench | None = None) -> Iterator[str]:
    """The digest of each reduction's document is its input digest, and its log files are kept."""
    reductions = rows_of(Reduction, bench).select_related("session").defer("result")
    for row in reductions.order_by("pk").iterator(AT_ONCE):
        name = f"reduction {row.pk}"
        try:
            digests = _digests_of(row.document)
        except ValidationError as error:
            yield f"{name}: its document breaks the format in {error.error_count()} places"
            continue
        if row.input_sha256 not in digests:
            yield f"{name}: its document hashes to {min(digests)[:12]}…, its input digest is {row.input_sha256[:12]}…"
            continue
        wanted = {log["sha256"] for log in row.document["files"] if log.get("sha256")}
        kept = Evidence.objects.filter(bench=row.session.bench_id, sha256__in=wanted).values_list("sha256", flat=True)
        missing = wanted - set(kept)
        yield f"{name}: {len(missing)} of its log files are not kept on its bench" if missing else WELL


def _digests_of(document: dict[str, Any]) -> set[str]:
    """Return the digest of a document as it is stored and as it is read: a database may write 1e16 as an integer."""
    stored = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return {hashlib.sha256(stored.encode()).hexdigest(), session_digest(doc.Session.model_validate(document))}


def results_are_their_points(bench: Bench | None = None) -> Iterator[str]:
    """Points and findings are what the stored result says: as many, in order, equal in every column."""
    rows = rows_of(Reduction, bench).prefetch_related("points", "findings").order_by("pk")
    for row in rows.iterator(AT_ONCE):
        name = f"reduction {row.pk}"
        try:
            result = doc.Result.model_validate(row.result)
        except ValidationError as error:
            yield f"{name}: its result breaks the format in {error.error_count()} places"
            continue
        if row.method_version != result.method_version:
            yield f"{name}: of method {row.method_version}, its result of {result.method_version}"
        yield from _points_differ(name, list(row.points.all()), result)
        said = [*result.findings, *(found for point in result.points for found in point.findings)]
        kept = sorted(row.findings.all(), key=lambda found: found.position)
        differ = [tuple(getattr(one, field) for field in SAME_IN_FINDING) for one in kept] != [
            tuple(getattr(one, field) for field in SAME_IN_FINDING) for one in said
        ]
        yield f"{name}: its findings are not those of its result" if differ else WELL


def _points_differ(name: str, rows: list[Point], result: doc.Result) -> Iterator[str]:
    if len(rows) != len(result.points):
        yield f"{name}: {len(rows)} points are stored, its result has {len(result.points)}"
        return
    for row, point in zip(sorted(rows, key=lambda row: row.position), result.points, strict=True):
        wrong = [field for field in SAME_IN_POINT if getattr(row, field) != getattr(point, field)]
        if doc.Point.model_validate(row.detail) != point:
            wrong.append("detail")
        yield f"{name}, point {row.label}: {', '.join(wrong)} not as in its result" if wrong else WELL


def one_reduction_stands(bench: Bench | None = None) -> Iterator[str]:
    """Each reduced session has one current reduction, and the others lead to it one after the other."""
    counted = rows_of(Session, bench).annotate(
        all_of_it=Count("reductions"),
        standing=Count("reductions", filter=Q(reductions__superseded_by__isnull=True)),
        first=Count("reductions", filter=Q(reductions__supersedes__isnull=True)),
    )
    for row in counted.filter(all_of_it__gt=0).order_by("pk").iterator(AT_ONCE):
        chained = row.reductions.filter(supersedes__session=F("session")).count() + row.first == row.all_of_it
        if row.standing != 1 or row.first != 1 or not chained:
            yield f"session {row.pk}: {row.standing} current and {row.first} first of {row.all_of_it} reductions"
        else:
            yield WELL


def nothing_crosses_benches(bench: Bench | None = None) -> Iterator[str]:
    """Units, rooms, instruments and files of a session are of its bench."""
    crossing = (
        ("session", rows_of(Session, bench), ("unit__bench", "room__bench", "files__evidence__bench"), "bench"),
        ("channel", rows_of(Channel, bench), ("instrument__bench",), "file__session__bench"),
        ("point", rows_of(Point, bench), ("unit__bench",), "reduction__session__bench"),
        ("job", rows_of(Job, bench), ("session__bench",), "bench"),
    )
    for noun, rows, ways, own in crossing:
        for way in ways:
            other = rows.filter(**{f"{way}__isnull": False}).exclude(**{way: F(own)}).values_list("pk", flat=True)
            yield from (f"{noun} {pk}: its {way.split('__')[-2]} is of another bench" for pk in other)
        yield from [WELL] * rows.count()


def parts_are_received() -> Iterator[str]:
    """Each upload in progress has the bytes that it counts as received."""
    for row in PartialUpload.objects.order_by("pk"):
        stored = evidence_store.size_of_parts(row.pk)
        short = stored < row.received_bytes
        yield f"upload {row.pk}: {stored} bytes are stored, {row.received_bytes} counted" if short else WELL


def no_job_is_stuck(now: datetime | None = None) -> Iterator[str]:
    """A job that waits has its task, one that runs is heard of, one that is done has its result."""
    moment = now or datetime.now(UTC)
    for job in Job.objects.order_by("pk").iterator(AT_ONCE):
        if job.state == Job.State.DONE and job.session_id and job.reduction_id is None:
            yield f"job {job.pk}: done, and nothing came of it"
        elif job.is_open and jobs.is_lost(job, now=moment):
            yield f"job {job.pk}: {job.get_state_display().lower()}, and nobody works on it"
        else:
            yield WELL


def left_over(now: datetime | None = None) -> Iterator[str]:
    """Yield what a process that died left in the store: it costs space and changes nothing."""
    before = (now or datetime.now(UTC)) - PARTIAL_LIFETIME - timedelta(hours=1)
    named = set(Evidence.objects.values_list("stored_as", flat=True))
    yield from (f"{name}: no row names it" for name in evidence_store.stored_evidence() if name not in named)
    rows = {str(pk) for pk in PartialUpload.objects.values_list("pk", flat=True)}
    yield from (f"partial/{one}: of no upload" for one in evidence_store.uploads_with_parts() if one not in rows)
    yield from (f"{name}: half a file" for name in evidence_store.halves(before=before))
    for row in PartialUpload.objects.filter(touched_at__lt=before):
        yield f"upload {row.pk}: nobody went on with it since {row.touched_at:%Y-%m-%d %H:%M} UTC"


CHECKS = {
    "evidence is whole": evidence_is_whole,
    "reductions are of their documents": reductions_are_of_their_documents,
    "results are their points": results_are_their_points,
    "one reduction of a session stands": one_reduction_stands,
    "nothing crosses benches": nothing_crosses_benches,
    "uploads have their parts": parts_are_received,
    "no job is stuck": no_job_is_stuck,
}
OF_A_BENCH = (
    evidence_is_whole, reductions_are_of_their_documents, results_are_their_points, one_reduction_stands,
    nothing_crosses_benches,
)  # fmt: skip
