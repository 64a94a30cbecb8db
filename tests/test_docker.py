"""The image and the set-up of several processes, read and not run: there is no container engine in the tests."""

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import get_commands
from django.urls import resolve

ROOT = Path(__file__).resolve().parent.parent
DOCKERFILE = (ROOT / "docker" / "Dockerfile").read_text(encoding="utf-8")
CONSTRAINTS = (ROOT / "docker" / "constraints.txt").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def services() -> dict[str, Any]:
    return yaml.safe_load((ROOT / "docker" / "compose.yaml").read_text(encoding="utf-8"))["services"]


def plain(name: str) -> str:
    return re.split(r"[\[~<>=]", name)[0].lower().replace("_", "-")


def test_every_dependency_is_pinned_in_the_image() -> None:
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    pinned = set(re.findall(r"^([a-z0-9-]+)==", CONSTRAINTS, flags=re.MULTILINE))
    assert {plain(name) for name in wanted} - pinned == set()


def test_every_pin_has_a_hash_and_no_address() -> None:
    pins = re.split(r"^(?=[a-z])", CONSTRAINTS, flags=re.MULTILINE)[1:]
    assert [pin.split("==")[0] for pin in pins if "--hash=sha256:" not in pin] == []
    assert "://" not in CONSTRAINTS


def test_the_image_does_not_run_as_root_and_says_whether_it_is_well() -> None:
    lines = [line.split(maxsplit=1) for line in DOCKERFILE.splitlines() if line and line[0].isalpha()]
    users = [rest for word, rest in lines if word == "USER"]
    assert users
    assert users[-1] not in ("root", "0")
    assert "HEALTHCHECK" in {word for word, _ in lines}
    assert [rest for word, rest in lines if word == "FROM" and (":" not in rest or ":latest" in rest)] == []


@pytest.mark.parametrize("name", ["web", "worker", "migrate", "backup"])
def test_a_process_of_ours_has_a_read_only_root_and_no_capabilities(services: dict[str, Any], name: str) -> None:
    assert services[name]["read_only"] is True
    assert services[name]["cap_drop"] == ["ALL"]


def test_nothing_but_the_proxy_listens_beyond_the_host(services: dict[str, Any]) -> None:
    ports = {name: service.get("ports", []) for name, service in services.items()}
    assert ports.pop("proxy") == ["80:80", "443:443"]
    assert ports["web"] == ["127.0.0.1:8000:8000"]
    assert [port for listens in ports.values() for port in listens if not port.startswith("127.0.0.1:")] == []


def test_the_image_asks_for_health_where_health_is_told() -> None:
    asked = re.search(r'"GET", "([^"]+)"', (ROOT / "docker" / "healthy.py").read_text(encoding="utf-8"))
    assert asked
    assert resolve(asked[1]).url_name == "health-ready"
    assert "docker/healthy.py" in DOCKERFILE


def test_every_command_of_ours_that_a_service_runs_is_there(services: dict[str, Any]) -> None:
    lines = [" ".join(service.get("command", [])) for service in services.values()]
    commands = set(re.findall(r"manage\.py (\w+)", " ".join([*lines, DOCKERFILE])))
    assert {"migrate", "db_worker", "backup", "collectstatic", "delete_due_benches"} <= commands
    assert commands - get_commands().keys() == set()


def test_secrets_come_from_outside_and_have_no_default(services: dict[str, Any]) -> None:
    environment = services["web"]["environment"]
    assert environment["SECRET_KEY"].startswith("${SECRET_KEY:?")
    assert "${POSTGRES_PASSWORD:?" in environment["DATABASE_URL"]


def test_requests_are_not_logged_by_their_paths() -> None:
    assert "access-log" not in DOCKERFILE


def test_workers_take_their_tasks_from_the_database(services: dict[str, Any]) -> None:
    assert services["worker"]["command"][-1] == "db_worker"
    assert services["worker"]["environment"]["TASKS_BACKEND"].startswith("django_tasks_db.")
