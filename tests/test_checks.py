"""The static checks, run as tests so that one command is all checks."""

import doctest
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
EXAMPLES = sorted(
    path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
    for package in ("units", "tests_app")  # pytest itself runs those of `reduction`, which is among its test paths
    for path in (ROOT / package).rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "--no-cache", "."],
        ["ruff", "format", "--no-cache", "--check", "."],
        ["mypy"],
        ["lint-imports", "--no-cache"],
        ["bandit", "--quiet", "--configfile", "pyproject.toml", "--recursive", "reduction", "units", "tests_app"],
    ],
    ids=lambda command: " ".join(command),
)
def test_a_static_check_finds_nothing(command: list[str]) -> None:
    ran = subprocess.run([BIN / command[0], *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.parametrize("module", EXAMPLES)
def test_the_examples_in_docstrings_are_true(module: str) -> None:
    failed, attempted = doctest.testmod(importlib.import_module(module))
    assert (failed, attempted > 0) == (0, True)
