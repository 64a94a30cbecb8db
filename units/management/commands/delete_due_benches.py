"""Delete benches whose grace period is over."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from units.actions import benches


class Command(BaseCommand):
    """`manage.py delete_due_benches`: to be run once a day."""

    help = "Delete the benches that their owners marked, once the grace period is over. Run it once a day."

    def handle(self, *args: Any, **options: Any) -> None:
        """Delete them and name them."""
        for name in benches.delete_due():
            self.stdout.write(f"Deleted: {name}")
