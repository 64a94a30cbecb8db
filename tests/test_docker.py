"""The image and the set-up of several processes as they are written; what they do when run: test_image.py."""

import json
import re
import subprocess
import sys
import tomllib
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import get_commands
from django.urls import resolve
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.image import instructions, is_sent

ROOT = Path(__file__).resolve().parent.parent
DOCKERFILE = (ROOT / "docker" / "Dockerfile").read_text(encoding="utf-8")
CONSTRAINTS = (ROOT / "docker" / "constraints.txt").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def services() -> dict[str, Any]:
    return yaml.safe_load((ROOT / "docker" / "compose.yaml").read_text(encoding="utf-8"))["services"]


def pins() -> dict[str, str]:
    return dict(re.findall(r"^([a-z0-9-]+)==(\S+)", CONSTRAINTS, flags=re.MULTILINE))


def test_every_dependency_is_pinned_in_the_image_at_a_version_that_is_wanted() -> None:
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    asked = [Requirement(line) for line in wanted]
    amiss = [str(one) for one in asked if pins().get(canonicalize_name(one.name), "") not in one.specifier]
    assert amiss == []


def test_what_dependencies_need_is_pinned_too() -> None:
    """With hashes required, an installer takes no package that is not in the list."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    open_, needed = [Requirement(line) for line in project["dependencies"]], set()
    while open_:
        one = open_.pop()
        name, extras = canonicalize_name(one.name), one.extras or {""}
        if (name, *sorted(extras)) in needed:
            continue
        needed.add((name, *sorted(extras)))
        try:
            further = [Requirement(line) for line in requires(name) or ()]
        except PackageNotFoundError:  # for another system than this
            continue
        open_ += [each for each in further if any(_applies(each, extra) for extra in extras)]
    assert {name for name, *_ in needed} - pins().keys() == set()


def _applies(needed: Requirement, extra: str) -> bool:
    image = {"platform_system": "Linux", "sys_platform": "linux", "python_version": "3.11", "extra": extra}
    return needed.marker is None or needed.marker.evaluate(image)


def test_every_pin_has_a_hash_and_no_address() -> None:
    pins = re.split(r"^(?=[a-z])", CONSTRAINTS, flags=re.MULTILINE)[1:]
    assert [pin.split("==")[0] for pin in pins if "--hash=sha256:" not in pin] == []
    assert "://" not in CONSTRAINTS


def test_what_is_copied_into_the_image_is_there_and_is_sent() -> None:
    sources = [rest.split()[:-1] for word, rest in instructions() if word == "COPY" and not rest.startswith("--from")]
    for source in (ROOT / name for names in sources for name in names):
        assert source.exists(), source
        assert source == ROOT or is_sent(source), source


def linted(*command: str) -> Any:
    program = Path(sys.executable).parent / command[0]  # it comes with the packages that the tests want
    ran = subprocess.run([program, *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    return json.loads(ran.stdout)


def test_the_image_file_is_without_a_finding() -> None:
    assert linted("hadolint", "--no-color", "--format", "json", "docker/Dockerfile") == []


# rule of compose-lint, service: why it stays
ANSWERED = {
    ("CL-0005", "proxy"): "it is what listens to all",
    ("CL-0007", "db"): "its start script writes its settings; not proved here with a read-only root",
}
ANSWERED_OF_ALL = {
    "CL-0019": "a digest stands for one machine's architecture and stops security updates of the tag",
    "CL-0026": "memory and processes are limited, see below; work may use all cores there are",
}


def test_the_set_up_is_without_a_finding_that_is_not_answered() -> None:
    found = linted("compose-lint", "--format", "json", "docker/compose.yaml")
    rules = {(one["rule_id"], one["service"]) for one in found["findings"]}
    assert {one for one in rules if one[0] not in ANSWERED_OF_ALL} == ANSWERED.keys()


def test_no_service_takes_the_whole_machine(services: dict[str, Any]) -> None:
    for name, service in services.items():
        assert service["mem_limit"], name
        assert service["pids_limit"], name
        assert service["cap_drop"] == ["ALL"], name
        assert service["security_opt"] == ["no-new-privileges:true"], name


def test_scratch_files_lie_on_the_disk_and_not_in_memory(services: dict[str, Any]) -> None:
    """An upload or an export may be as large as gigabytes; in memory it would end the process."""
    for name in ("web", "worker", "migrate", "backup"):
        assert "/tmp" in services[name]["volumes"], name
        assert "tmpfs" not in services[name], name


def test_the_image_does_not_run_as_root_and_says_whether_it_is_well() -> None:
    lines = [line.split(maxsplit=1) for line in DOCKERFILE.splitlines() if line and line[0].isalpha()]
    users = [rest for word, rest in lines if word == "USER"]
    assert users
    assert re.fullmatch(r"[1-9]\d{3,}:[1-9]\d{3,}", users[-1]), "by number, so that an engine can see it is not root"
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
