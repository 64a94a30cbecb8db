"""The image's own commands, run as they are written there: another user, no capability, nothing to write but data."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.faults.site import until
from tests.image import Image, last, services

HOST = "ledger.example"
STATED = {
    "SECRET_KEY": "k4Jw-9xTq2_vRz7mNb5cLs8dFg3hYp6aUe1iOo0tQwErTyUiOp",
    "ALLOWED_HOSTS": HOST,
    "CSRF_TRUSTED_ORIGINS": f"https://{HOST}",
    "PROXIES": "1",
    "TASKS_BACKEND": "django_tasks_db.DatabaseBackend",
}
SCENE = """
from tests import builders
from tests_app import tasks
from units.models import Bench
bench = builders.a_bench(name="Larkmoor Bench", slug="larkmoor")
owner = builders.a_person(bench=bench, role="owner", username="odile")
unit = builders.a_unit(bench=bench, claims={}, obtained="bought", afterwards="kept")
session = builders.a_session(bench=bench, unit=unit, with_logs=["temperatures", "plugs"],
                             reduction_settings={"monte_carlo_draws": 2000})
print(tasks.queue_reduction(session=session, by=owner).pk)
"""
PUBLISH = """
from units.actions import editions, reviews
from units.models import Bench, Person, Unit
bench, unit, owner = Bench.objects.get(), Unit.objects.get(), Person.objects.get(username="odile")
review = reviews.begin(bench=bench, units=[unit], by=owner)
reviews.write(review=review, disclosure="Bought.", charts=["tested"], publish_raw=True, by=owner)
severe = review.points.first().reduction.findings.filter(severity="severe")
reviews.answer(review=review, answers={str(each.pk): "Known." for each in severe}, by=owner)
print(editions.publish(review=review, by=owner).review.slug)
"""


@pytest.fixture(scope="module")
def image() -> Iterator[Image]:
    """Migrate as the service of that name does, then start web and a worker by the commands of image and services."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    with TemporaryDirectory(prefix="ledger-image-") as folder, (Path(folder) / "log").open("wb") as log:
        made = Image(Path(folder), PORT=str(port), **STATED)
        try:
            migrated = made.run(services()["migrate"]["command"])
            assert migrated.returncode == 0, migrated.stderr
            running = [made.start(json.loads(last("CMD")), log), made.start(services()["worker"]["command"], log)]
            yield made
        finally:
            for process in running:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()
            subprocess.run(["chmod", "-R", "u+w", folder], check=True)


def asks_for_health(image: Image, **stated: str) -> int:
    command = last("HEALTHCHECK").partition("CMD")[2]
    return image.run(json.loads(command), **stated).returncode


def shell(image: Image, script: str) -> str:
    ran = image.run(["python", "manage.py", "shell", "-v0", "-c", script])
    assert ran.returncode == 0, ran.stderr
    return ran.stdout.strip()


def got(image: Image, address: str) -> tuple[int, bytes]:
    with closing(http.client.HTTPConnection("127.0.0.1", int(image.stated["PORT"]), timeout=60)) as connection:
        connection.request("GET", address, headers={"Host": HOST, "X-Forwarded-Proto": "https"})
        answer = connection.getresponse()
        return answer.status, answer.read()


def test_it_holds_what_it_copies_and_nothing_private(image: Image) -> None:
    for name in ("manage.py", "units/wsgi.py", "reduction/data", "docker/healthy.py", "docker/constraints.txt"):
        assert (image.app / name).exists(), name
    assert [name for name in (".git", "var", "artefacts", "docker/.env") if (image.app / name).exists()] == []
    assert list(image.app.rglob("*.pyc")) == []


def test_it_can_write_where_its_data_is_and_nowhere_else(image: Image) -> None:
    tries = f"""
import os
for place in ({str(image.app)!r}, "/usr", "/etc", os.path.dirname(os.__file__)):
    try:
        open(os.path.join(place, "x"), "w")
        print("wrote into", place)
    except OSError:
        pass
open({str(image.data / "x")!r}, "w").close()
print(os.getuid(), open("/proc/self/status").read().split("CapEff:")[1].split()[0])
"""
    said = image.run(["python", "-c", tries]).stdout.split("\n")
    assert [line for line in said if line.startswith("wrote")] == []
    assert (image.data / "x").exists()
    assert said[0] == (f"{image.uid} {0:016x}" if image.is_apart else f"{os.getuid()} {said[0].split()[1]}")


def test_the_health_check_tells_a_site_that_answers_from_one_that_does_not(image: Image) -> None:
    assert until(lambda: asks_for_health(image) == 0, 90.0, step_s=1.0)
    assert asks_for_health(image, PORT="9") != 0


def test_work_is_done_published_and_served_and_the_image_is_as_it_was(image: Image) -> None:
    before = {str(path): path.stat().st_mtime_ns for path in image.app.rglob("*")}
    job = shell(image, SCENE)
    asks = f"from tests_app.models import Job; print(Job.objects.get(pk='{job}').state)"
    assert until(lambda: shell(image, asks) not in ("waiting", "running"), 120.0, step_s=2.0)
    assert shell(image, asks) == "done"
    slug = shell(image, PUBLISH)
    assert until(lambda: asks_for_health(image) == 0, 90.0, step_s=1.0)
    addresses = {f"/published/{slug}/": b"<html", f"/published/{slug}/1/charts/tested.png": b"\x89PNG"}
    addresses |= {"/published/data.zip": b"PK", "/": b"Quellmar", "/static/units/mark.svg": b"<svg"}
    for address, holds in addresses.items():
        status, body = got(image, address)
        assert (status, holds in body) == (200, True), address
    assert {str(path): path.stat().st_mtime_ns for path in image.app.rglob("*")} == before


def test_the_nightly_backup_is_written(image: Image) -> None:
    (shell_name, option, loop) = services()["backup"]["command"]
    assert loop.startswith("while sleep 86400; do ")
    once = loop.replace("while sleep 86400;", "for _ in once;", 1)
    ran = image.run([shell_name, option, once])
    assert ran.returncode == 0, ran.stderr
    (kept,) = image.backups.iterdir()
    assert kept.name.endswith(".backup.zip")
    assert kept.stat().st_mode & 0o077 == 0
