"""A published edition served by gunicorn against a bare view of the same bytes, in the same run.

    python -m tests.benchmarks.published_page

Prints requests a second of each, their ratios, and exits 1 below what is wanted: the edition at least at 0.7 of the
bare view's rate, and a 304 faster than the whole page.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path
from statistics import median

HOST, THREADS, ROUNDS = "127.0.0.1", 4, 7
WANTED_RATIO = 0.7
TABLE = "{:<22}{:>12.0f}{:>10.2f}"


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def publish() -> str:
    """Publish a review in a database of its own and return its address."""
    import django

    django.setup()
    from django.core.management import call_command

    from tests import builders, publishing

    call_command("migrate", verbosity=0)
    bench = builders.a_bench()
    points = [publishing.a_telling_point(label=f"steady {n}", capacity_w=2300.0 - 40.0 * n) for n in range(6)]
    edition = publishing.a_published_review(bench, builders.a_person(bench=bench, role="owner"), *points)
    return f"/published/{edition.review.slug}/{edition.number}/"


def ask(port: int, path: str, etag: str = "") -> bytes:
    """Ask once on a connection of its own, as a cheap client does, and return all of the answer."""
    condition = f"If-None-Match: {etag}\r\n" if etag else ""
    with socket.create_connection((HOST, port)) as connection:
        connection.sendall(
            f"GET {path} HTTP/1.1\r\nHost: {HOST}:{port}\r\n{condition}Connection: close\r\n\r\n".encode()
        )
        parts = []
        while part := connection.recv(1 << 16):
            parts.append(part)
    return b"".join(parts)


def rate(port: int, path: str, *, status: int, requests: int, etag: str = "") -> float:
    """Return requests a second over some threads; every answer's status is looked at."""
    wrong: list[bytes] = []

    def work() -> None:
        for _ in range(requests // THREADS):
            answer = ask(port, path, etag)
            if not answer.startswith(f"HTTP/1.1 {status}".encode()):
                wrong.append(answer[:80])

    threads = [threading.Thread(target=work) for _ in range(THREADS)]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if wrong:
        raise RuntimeError(f"expected {status}, found {wrong[0]!r}")
    return requests / (time.perf_counter() - start)


def wait_for(port: int, path: str) -> tuple[int, str]:
    """Wait until the server answers and return the page's size and its ETag."""
    for _ in range(120):
        try:
            with urllib.request.urlopen(f"http://{HOST}:{port}{path}") as answer:
                return len(answer.read()), answer.headers["ETag"]
        except OSError:
            time.sleep(0.5)
    raise TimeoutError("the server did not start")


def measure(port: int, path: str, requests: int) -> dict[str, float]:
    """Return the median rates; the kinds take turns, so that a busy machine is busy for all of them."""
    size, etag = wait_for(port, path)
    kinds = {
        "bare view": {"path": f"/bare/{size}/", "status": 200},
        "edition": {"path": path, "status": 200},
        "edition, 304": {"path": path, "status": 304, "etag": etag},
    }
    say(f"{size} bytes, {requests} requests a round, {ROUNDS} rounds, {THREADS} clients")
    rates: dict[str, list[float]] = {name: [] for name in kinds}
    for _ in range(ROUNDS):
        for name, asked in kinds.items():
            rates[name].append(rate(port, requests=requests, **asked))
    return {name: median(found) for name, found in rates.items()}


def main() -> int:
    """Measure and judge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=400, help="requests of each kind a round")
    requests = parser.parse_args().requests
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"DATA_DIR": folder, "DJANGO_SETTINGS_MODULE": "units.settings"}
        path = publish()
        with socket.socket() as free:
            free.bind((HOST, 0))
            port = free.getsockname()[1]
        command = [
            sys.executable,
            "-m",
            "gunicorn",
            "tests.benchmarks.bare_site:application",
            "--bind",
            f"{HOST}:{port}",
        ]
        server = subprocess.Popen([*command, "--workers", "1", "--log-level", "error"], cwd=Path(__file__).parents[2])
        try:
            rates = measure(port, path, requests)
        finally:
            server.terminate()
            server.wait()
    say(f"{'':<22}{'requests/s':>12}{'to bare':>10}")
    for name, found in rates.items():
        say(TABLE.format(name, found, found / rates["bare view"]))
    good = rates["edition"] >= WANTED_RATIO * rates["bare view"] and rates["edition, 304"] > rates["edition"]
    say("as wanted" if good else "BELOW what is wanted")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
