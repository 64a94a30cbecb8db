"""Delete what is due: benches whose grace period is over, exports that are old, archives that nobody brought in."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from units.actions import arrivals, benches, exports
from units.models import Bench


class Command(BaseCommand):
    """`manage.py delete_due_benches`: to be run once a day."""

    help = (
        "Delete the benches that their owners marked, once the grace period is over, exports older than a week, "
        "and archives that were sent and not brought in for a day. Run it once a day."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        """Delete them and name them."""
        for name in benches.delete_due():
            self.stdout.write(f"Deleted: {name}")
        if gone := sum(exports.expire(bench=bench) for bench in Bench.objects.all()):
            self.stdout.write(f"Files of old exports deleted: {gone}")
        if gone := arrivals.expire():
            self.stdout.write(f"Archives that nobody brought in deleted: {gone}")
