"""Look at the whole ledger and say whether it holds."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from units.actions import ledger

MOST_SAID = 20


class Command(BaseCommand):
    """`manage.py check_ledger`: every invariant and digest, row by row."""

    help = "Check every invariant and digest of evidence, reductions, points and editions; exit code 1 on a fault."

    def handle(self, *args: Any, **options: Any) -> None:
        """Say each invariant with how much was looked at, and each fault below it."""
        faults = 0
        for looked in ledger.check():
            faults += len(looked.faults)
            word = f"{len(looked.faults)} FAULTS" if looked.faults else "holds"
            self.stdout.write(f"{word:>10}  {looked.invariant} ({looked.looked_at} looked at)")
            for fault in looked.faults[:MOST_SAID]:
                self.stdout.write(f"            {fault}")
            if len(looked.faults) > MOST_SAID:
                self.stdout.write(f"            and {len(looked.faults) - MOST_SAID} more")
        if rest := ledger.left_over():
            self.stdout.write(f"{len(rest)} left over by processes that died; they cost space and change nothing:")
            for one in rest[:MOST_SAID]:
                self.stdout.write(f"            {one}")
        if faults:
            raise CommandError(f"{faults} faults: the ledger does not hold.")
        self.stdout.write("The ledger holds.")
