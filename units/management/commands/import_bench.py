"""Bring a bench in from its archive."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from reduction.errors import ReductionError
from units.archive import read
from units.management import full_disk
from units.models import Person


class Command(BaseCommand):
    """`manage.py import_bench FILE --owner USER`: all of it or nothing."""

    help = "Bring in a bench that export_bench wrote; checksums first, then all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        """Add the file, and who will own it."""
        parser.add_argument("file", type=Path, help="the archive")
        parser.add_argument("--owner", required=True, help="user name of who owns the bench here")
        parser.add_argument(
            "--same-people", action="store_true", help="take accounts of the same user names for the people it names"
        )

    def handle(self, *args: Any, file: Path, owner: str, same_people: bool, **options: Any) -> None:
        """Bring it in and say so."""
        person = Person.objects.filter(username=owner, is_active=True).first()
        if person is None:
            raise CommandError(f"Nobody here has the user name “{owner}”.")
        if not file.is_file():
            raise CommandError(f"No file {file}.")
        try:
            with full_disk.in_words(file):
                bench = read.read(file, owner=person, same_people=same_people)
        except ReductionError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{bench} is here, owned by {person}.")
