"""A worker that also looks after jobs whose worker died, and that outlives a database that goes away for a while."""

from __future__ import annotations

import logging
import time
from threading import Thread
from typing import Any

from django.conf import settings
from django.db import OperationalError, close_old_connections
from django_tasks_db.management.commands import db_worker

from tests_app import tasks

log = logging.getLogger(__name__)

PAUSE_S = 2.0


def look_after() -> None:
    """Recover lost jobs, again and again; what fails now is tried the next time."""
    while True:
        try:
            close_old_connections()
            tasks.recover()
        except OperationalError:
            log.warning("The database did not answer; lost jobs are looked for later")
        time.sleep(settings.JOB_SILENT_S / 2)


class Command(db_worker.Command):
    """`manage.py db_worker`: takes tasks from the database until it is stopped; run as many as wanted."""

    help = "Run a worker: it does queued work, and hands over again what a dead worker left. Run as many as wanted."

    def handle(self, *, batch: bool, **options: Any) -> None:
        """Work; wait and go on where the database is away. A batch ends when nothing waits or a fault comes."""
        if not batch:
            Thread(target=look_after, daemon=True).start()
        while True:
            try:
                return super().handle(batch=batch, **options)
            except OperationalError:
                if batch:
                    raise
                log.warning("The database did not answer; this worker tries again in %.0f s", PAUSE_S)
                close_old_connections()
                time.sleep(PAUSE_S)
