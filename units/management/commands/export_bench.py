"""Write a bench as one archive."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from tests_app.whole_files import written_whole
from units.archive import write
from units.management import full_disk
from units.models import Bench


class Command(BaseCommand):
    """`manage.py export_bench SLUG`: everything of a bench in one zip of open formats."""

    help = "Write everything of a bench into one zip: rows as JSON lines, evidence byte for byte, checksums, a README."

    def add_arguments(self, parser: CommandParser) -> None:
        """Add which bench, and where to."""
        parser.add_argument("slug", help="the bench, as `export_bench` without a match lists them")
        parser.add_argument("--to", type=Path, help="file to write; without it SLUG.bench.zip here")

    def handle(self, *args: Any, slug: str, to: Path | None, **options: Any) -> None:
        """Write it and say its digest."""
        bench = Bench.objects.filter(slug=slug).first()
        if bench is None:
            known = ", ".join(Bench.objects.values_list("slug", flat=True)) or "none"
            raise CommandError(f"No bench “{slug}” here; there are: {known}.")
        path = to or Path(f"{slug}.bench.zip")
        with full_disk.in_words(path), written_whole(path) as file:
            digest = write.write(bench, file)
        self.stdout.write(f"{path}: {bench}, SHA-256 of its content {digest}")
