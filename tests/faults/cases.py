"""Every case: faults first, then loads."""

from __future__ import annotations

from tests.faults import machine, processes
from tests.load import cases as load

# case: (function, tried in the whole run, tried in the short run)
FAULTS = {
    "workers": (processes.workers_killed, 200, 6),
    "web": (processes.web_killed, 100, 8),
    "same": (processes.same_upload_at_once, 20, 20),
    "two": (processes.two_people_editing, 60, 20),
    "database": (processes.database_restarted, 25, 4),
    "disk": (machine.disk_full_in_uploads, 10, 3),
    "full": (machine.disk_full_in_reductions, 20, 4),
    "clock": (machine.clock_stepped_back, 20, 4),
}
# case: (function, seconds or sessions in the whole run, in the short run)
LOADS = {
    "visitors": (load.visitors_and_testers, 300, 10),
    "memory": (load.memory_stays_flat, 1800, 10),
    "queue": (load.two_workers_against_one, 1000, 8),
}
CASES = FAULTS | LOADS
