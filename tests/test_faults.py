"""Faults and loads, each a few times, on real processes: a short run of `python -m tests.faults`."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_a_site_that_is_killed_filled_set_back_and_loaded_loses_nothing(tmp_path: Path) -> None:
    kept = {
        name: value for name, value in os.environ.items() if not name.startswith(("PYTEST", "DATA_DIR", "DATABASE"))
    }
    ran = subprocess.run(
        [sys.executable, "-m", "tests.faults", "--short"],
        cwd=ROOT,
        env=kept | {"XDG_RUNTIME_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr[-4000:]
    assert " 0 faults" in ran.stdout
