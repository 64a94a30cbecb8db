"""A worker inside the process that serves, where one machine and one person are all there is: work beside pages."""

from __future__ import annotations

import logging
import time
from contextlib import suppress
from threading import Thread

from django.conf import settings
from django.db import OperationalError, close_old_connections
from django_tasks import DEFAULT_TASK_BACKEND_ALIAS, DEFAULT_TASK_QUEUE_NAME, task_backends
from django_tasks_db.management.commands.db_worker import Worker

from units.management.commands.db_worker import PAUSE_S, look_after

log = logging.getLogger(__name__)
QUEUE = "django_tasks_db.DatabaseBackend"
INTERVAL_S = 0.3


def work_beside() -> None:
    """From now on queue what is asked for, and do it in threads of this process; they end with it."""
    settings.TASKS[DEFAULT_TASK_BACKEND_ALIAS]["BACKEND"] = QUEUE
    with suppress(AttributeError):  # what this thread asked by until now, if it asked for anything
        del task_backends[DEFAULT_TASK_BACKEND_ALIAS]
    for work in (_work, look_after):
        Thread(target=work, daemon=True).start()


def _work() -> None:
    while True:
        worker = Worker(
            queue_names=[DEFAULT_TASK_QUEUE_NAME], excluded_queue_names=[], backend_name=DEFAULT_TASK_BACKEND_ALIAS,
            worker_id="beside the pages", interval=INTERVAL_S, batch=False, startup_delay=False, max_tasks=None,
        )  # fmt: skip
        try:
            worker.run()
        except OperationalError:
            log.warning("The database did not answer; the worker tries again in %.0f s", PAUSE_S)
            close_old_connections()
            time.sleep(PAUSE_S)
