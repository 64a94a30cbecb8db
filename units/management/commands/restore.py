"""Bring a whole installation back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from reduction.errors import ReductionError
from units.archive import whole
from units.management import full_disk


class Command(BaseCommand):
    """`manage.py restore FILE`: into an empty installation, on SQLite or PostgreSQL."""

    help = "Bring back what `backup` wrote, into an empty installation; each bench is compared by its digest."

    def add_arguments(self, parser: CommandParser) -> None:
        """Add the file."""
        parser.add_argument("file", type=Path, help="the backup")

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        """Restore it and say what is here."""
        if not file.is_file():
            raise CommandError(f"No file {file}.")
        try:
            with full_disk.in_words(file):
                digests = whole.restore(file)
        except ReductionError as error:
            raise CommandError(str(error)) from error
        for slug, digest in digests.items():
            self.stdout.write(f"{digest}  {slug}")
        self.stdout.write(f"{len(digests)} benches are here, each as it was kept.")
