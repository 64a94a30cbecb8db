"""Start a program of the site in a process that can be hurt from outside: python -m tests.faults.hurtable PROGRAM ...

CLOCK_FILE holds how many seconds its clock is off; when that changes, the clock steps. What measures durations, and
the database, keep their own time. While FULL_FILE is there, no scratch folder can be made: there is no room for one.
"""

from __future__ import annotations

import errno
import os
import runpy
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import time_machine

LOOK_EVERY_S = 0.05


def follow(file: Path) -> None:
    """Step this process's clock whenever the file says another offset."""
    began, began_monotonic, offset, travelling = time.time(), time.monotonic(), 0.0, None
    while True:
        said = float(file.read_text() or 0.0)
        if said != offset:
            if travelling is not None:
                travelling.stop()
            moment = began + time.monotonic() - began_monotonic + said
            travelling, offset = time_machine.travel(moment, tick=True), said
            travelling.start()
        time.sleep(LOOK_EVERY_S)


def run_out_of_room(while_there: Path) -> None:
    """Let scratch folders fail as on a full disk, while a file is there."""
    made = tempfile.mkdtemp

    def mkdtemp(*arguments: Any, **named: Any) -> str:
        if while_there.exists():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return made(*arguments, **named)

    tempfile.mkdtemp = mkdtemp


if __name__ == "__main__":
    threading.Thread(target=follow, args=[Path(os.environ["CLOCK_FILE"])], daemon=True).start()
    run_out_of_room(Path(os.environ["FULL_FILE"]))
    sys.argv = sys.argv[1:]
    if sys.argv[0] == "-m":
        sys.argv = sys.argv[1:]
        runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
    else:
        runpy.run_path(sys.argv[0], run_name="__main__")
