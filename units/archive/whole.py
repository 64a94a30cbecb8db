"""A whole installation in one file: its accounts, and each bench as its archive; kept and brought back equal."""

from __future__ import annotations

import json
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

from django.db import connection, transaction

from reduction.errors import Place, UnreadableFile
from units.archive import read, write
from units.archive.look import BLOCK, Look
from units.archive.rows import plain
from units.models import ApiToken, Bench, Membership, Person, SecondStep, SecondStepRule

FORMAT = "cooling-ledger-backup/1"
MANIFEST = "manifest.json"
OWN_OF_STEP = ("salt", "confirmed_at", "last_counter", "recovery")
OWN_OF_TOKEN = ("id", "token_role", "label", "secret_sha256", "created_at", "expires_at", "revoked_at")


def back_up(to: BinaryIO) -> dict[str, str]:
    """Write everything as it was at one instant, while others go on working; return each bench's content digest."""
    with _one_instant(), zipfile.ZipFile(to, "w", zipfile.ZIP_STORED) as backup:
        digests = {}
        for bench in Bench.objects.order_by("slug"):
            with backup.open(_member(bench.slug), "w", force_zip64=True) as member:
                digests[bench.slug] = write.write(bench, member)
        manifest = {
            "format": FORMAT,
            "written_at": datetime.now(UTC).isoformat(),
            "people": [_account(person) for person in Person.objects.order_by("pk")],
            "memberships": list(Membership.objects.order_by("pk").values("bench__slug", "person__username", "role")),
            "tokens": [_token(token) for token in ApiToken.objects.select_related("bench", "person").order_by("pk")],
            "second_steps": [_second_step(step) for step in SecondStep.objects.select_related("person").order_by("pk")],
            "second_step_rules": [
                _rule(rule) for rule in SecondStepRule.objects.select_related("bench").order_by("pk")
            ],
            "benches": digests,
        }
        backup.writestr(MANIFEST, json.dumps(manifest, ensure_ascii=False, indent=1))
    return digests


def restore(path: Path) -> dict[str, str]:
    """Bring an installation back into an empty one, on either database; all of it equal by digest, or nothing.

    Raises
    ------
    UnreadableFile
        If the file is no backup, is damaged, or this installation holds anything already.
    """
    if Person.objects.exists() or Bench.objects.exists():
        raise _refused(path.name, "people or benches here", "an empty installation", "Restore into a new database.")
    try:
        with zipfile.ZipFile(path) as backup, transaction.atomic():
            manifest = _manifest(backup, path.name)
            Person.objects.bulk_create(_person(account) for account in manifest["people"])
            for slug, digest in manifest["benches"].items():
                _bench(backup, slug, digest)
            _roles_and_tokens(manifest)
            SecondStep.objects.bulk_create(_step(kept) for kept in manifest.get("second_steps", []))
            SecondStepRule.objects.bulk_create(_rule_of(kept) for kept in manifest.get("second_step_rules", []))
    except (zipfile.BadZipFile, KeyError) as error:
        raise _refused(path.name, str(error), "a whole backup", "Take another copy of it.") from error
    return manifest["benches"]


def digests() -> dict[str, str]:
    """Return the content digest of each bench as it is now."""
    with _one_instant(), tempfile.TemporaryFile() as nowhere:
        return {bench.slug: write.write(bench, nowhere) for bench in Bench.objects.order_by("slug")}


@contextmanager
def _one_instant() -> Iterator[None]:
    """Read the database as it is now, whatever others write meanwhile, and without making them wait."""
    if connection.in_atomic_block:
        yield
        return
    begin = "BEGIN ISOLATION LEVEL REPEATABLE READ" if connection.vendor == "postgresql" else "BEGIN DEFERRED"
    with connection.cursor() as cursor:
        cursor.execute(begin)
        try:
            yield
        finally:
            cursor.execute("ROLLBACK")


def _member(slug: str) -> str:
    return f"benches/{slug}.bench.zip"


def _account(person: Person) -> dict[str, Any]:
    fields = [field for field in person._meta.concrete_fields if not field.primary_key]
    return {field.name: plain(field.value_from_object(person)) for field in fields}


def _person(account: dict[str, Any]) -> Person:
    return Person(**{name: Person._meta.get_field(name).to_python(value) for name, value in account.items()})


def _token(token: ApiToken) -> dict[str, Any]:
    own = {name: plain(getattr(token, name)) for name in OWN_OF_TOKEN}
    return own | {"bench": token.bench.slug, "person": token.person.username}


def _second_step(step: SecondStep) -> dict[str, Any]:
    return {name: plain(getattr(step, name)) for name in OWN_OF_STEP} | {"person": step.person.username}


def _step(kept: dict[str, Any]) -> SecondStep:
    own = {name: SecondStep._meta.get_field(name).to_python(kept[name]) for name in OWN_OF_STEP}
    return SecondStep(person=Person.objects.get(username=kept["person"]), **own)


def _rule(rule: SecondStepRule) -> dict[str, Any]:
    return {"bench": rule.bench.slug, "begins_at": plain(rule.begins_at)}


def _rule_of(kept: dict[str, Any]) -> SecondStepRule:
    begins_at = SecondStepRule._meta.get_field("begins_at").to_python(kept["begins_at"])
    return SecondStepRule(bench=Bench.objects.get(slug=kept["bench"]), begins_at=begins_at)


def _manifest(backup: zipfile.ZipFile, name: str) -> dict[str, Any]:
    manifest = json.loads(backup.read(MANIFEST))
    if manifest.get("format") != FORMAT:
        raise _refused(name, f"format {manifest.get('format')}", FORMAT, "Use a file that `backup` wrote.")
    return manifest


def _bench(backup: zipfile.ZipFile, slug: str, digest: str) -> None:
    """Bring one bench in; its rows are compared as they come, its content is the one that was kept."""
    with tempfile.NamedTemporaryFile(suffix=".bench.zip") as copy, backup.open(_member(slug)) as member:
        while block := member.read(BLOCK):
            copy.write(block)
        copy.flush()
        first = Person.objects.order_by("pk")[0]
        read.read(Path(copy.name), owner=first, name=slug, same_people=True, settle=partial(_is_as_kept, digest))


def _is_as_kept(digest: str, bench: Bench, look: Look) -> None:
    if look.content_sha256 != digest:
        found = f"content {look.content_sha256[:12]}…"
        raise _refused(bench.slug, found, f"{digest[:12]}… as it was kept", "Take another copy of it.")


def _roles_and_tokens(manifest: dict[str, Any]) -> None:
    people = {person.username: person for person in Person.objects.all()}
    benches = {bench.slug: bench for bench in Bench.objects.all()}
    Membership.objects.all().delete()  # of whom the benches were given to on arrival
    Membership.objects.bulk_create(
        Membership(bench=benches[one["bench__slug"]], person=people[one["person__username"]], role=one["role"])
        for one in manifest["memberships"]
    )
    for token in manifest["tokens"]:
        own = {name: ApiToken._meta.get_field(name).to_python(token[name]) for name in OWN_OF_TOKEN}
        row = ApiToken(bench=benches[token["bench"]], person=people[token["person"]], **own)
        row.save_base(raw=True, force_insert=True)  # raw: when it was made stays as it was


def _refused(name: str, found: str, expected: str, remedy: str) -> UnreadableFile:
    return UnreadableFile(place=Place(name), found=found, expected=expected, remedy=remedy)
