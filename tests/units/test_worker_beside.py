"""The demo's process works while it serves: what is asked for is queued, and done in a thread of the same process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
IN_ONE_PROCESS = """
import time
import django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests_app.models import Job
from units.actions import exports, people
from units.management import worker
from units.models import Person
person = Person.objects.create_user(username="odile")
bench = people.open_bench(name="Larkmoor Bench", about="", by=person)
done_at_once = exports.begin(bench=bench, kind="points", by=person)
worker.work_beside()
queued = exports.begin(bench=bench, kind="archive", by=person)
states = [queued.state]
for _ in range(300):
    queued.refresh_from_db()
    if states[-1] != queued.state:
        states.append(queued.state)
    if not queued.is_open:
        break
    time.sleep(0.1)
print(done_at_once.state, states[0], states[-1], queued.attempts, sep="|")
"""


def test_work_is_queued_and_done_beside_what_the_process_does(tmp_path: Path) -> None:
    environment = os.environ | {"DATA_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "units.settings"}
    environment |= {"DATABASE_URL": f"sqlite:///{tmp_path}/beside.sqlite3"}
    ran = subprocess.run(
        [sys.executable, "-c", IN_ONE_PROCESS], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.strip().splitlines()[-1] == "done|waiting|done|1"
