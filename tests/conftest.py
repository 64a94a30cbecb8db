"""The cast: a bench, the people of it, one from elsewhere, one without a login; and a browser for the journeys."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.db import connection
from django.test import Client

from tests import builders
from units.models import Bench

ROOT = Path(__file__).resolve().parent.parent
ARTEFACTS = ROOT / "artefacts"
PATIENCE_MS = 90_000  # a build machine may be slow; a page that hangs is found all the same
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_report_header() -> str:
    """Say which database the tests run on."""
    return f"database: {django_settings.DATABASES['default']['ENGINE']}"


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """End what a browser's last open line still holds on PostgreSQL, or the test database could not be dropped."""
    yield
    if connection.vendor == "postgresql":
        with django_db_blocker.unblock(), connection.cursor() as cursor:
            others = "datname = current_database() AND pid <> pg_backend_pid()"
            cursor.execute(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {others}")


@pytest.fixture(autouse=True)
def evidence_folder(settings: Any, tmp_path: Path) -> Path:
    """Give each test its own evidence and partial uploads, and quick password hashing."""
    settings.MEDIA_ROOT = tmp_path / "evidence"
    settings.PARTIAL_UPLOAD_DIR = tmp_path / "partial"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    return tmp_path / "evidence"


@pytest.fixture
def bench(db: None) -> Bench:
    return builders.a_bench(name="Larkmoor Bench", slug="larkmoor")


def _signed_in(bench: Bench | None, role: str, username: str) -> Client:
    client = Client()
    client.person = builders.a_person(bench=bench, role=role, username=username)
    client.force_login(client.person)
    return client


@pytest.fixture
def owner(bench: Bench) -> Client:
    """Return the client of Odile, who owns the bench."""
    return _signed_in(bench, "owner", "odile")


@pytest.fixture
def tester(bench: Bench) -> Client:
    """Return the client of Tomas, who tests on the bench."""
    return _signed_in(bench, "tester", "tomas")


@pytest.fixture
def reader(bench: Bench) -> Client:
    """Return the client of Rhea, who may look at the bench."""
    return _signed_in(bench, "reader", "rhea")


@pytest.fixture
def stranger(db: None) -> Client:
    """Return the client of Stig, who owns another bench and has no business on this one."""
    return _signed_in(builders.a_bench(name="Another bench", slug="another"), "owner", "stig")


@pytest.fixture
def visitor() -> Client:
    """Return a client without a login."""
    return Client()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Start Debian's Chromium once; on a build machine its absence is a failure, never a skip."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        absent = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        absent("Chromium is not installed; .ci/run installs it")
    from playwright.sync_api import sync_playwright

    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"  # the browser's driver keeps an event loop in this thread
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def browser_page(chromium: Any, live_server: Any) -> Iterator[Any]:
    """Open a page on a live server; a script error on any page fails the test."""
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 1280, "height": 900})
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    context.close()
    assert errors == []


@pytest.fixture
def keep_screenshot(request: pytest.FixtureRequest) -> Any:
    """Return a function that keeps a screenshot of a page under artefacts/, named by test and moment."""

    def keep(page: Any, moment: str) -> Path:
        path = ARTEFACTS / request.node.name / f"{moment}.png"
        path.parent.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=path, full_page=True)
        return path

    return keep
