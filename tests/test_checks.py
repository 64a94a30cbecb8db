"""The static checks, run as tests so that one command is all checks."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent


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
