"""Write an edition as one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.http import Http404

from tests_app.whole_files import written_whole
from units.editions import export, read
from units.management import full_disk


class Command(BaseCommand):
    """`manage.py export_edition SLUG`: one self-contained HTML file with the document within."""

    help = "Write a published edition as one HTML file that opens from disk without a network and holds its document."

    def add_arguments(self, parser: CommandParser) -> None:
        """Add which edition, and where to."""
        parser.add_argument("slug", help="the review, as in its address")
        parser.add_argument("--number", type=int, help="edition; the last one without it")
        parser.add_argument("--to", type=Path, help="file to write; without it SLUG-edition-N.html here")
        parser.add_argument("--site", default="http://127.0.0.1:8000", help="address that links lead to")

    def handle(self, *args: Any, slug: str, number: int | None, to: Path | None, site: str, **options: Any) -> None:
        """Write it and say where."""
        try:
            edition = read.edition(slug, number)
        except Http404 as error:
            raise CommandError(f"Nothing is published as “{slug}”{f', edition {number}' if number else ''}.") from error
        path = to or Path(f"{slug}-edition-{edition.number}.html")
        with full_disk.in_words(path), written_whole(path) as file:
            file.write(export.one_file(edition, site.rstrip("/")).encode())
        self.stdout.write(f"{path}: edition {edition.number}, SHA-256 of its document {edition.sha256}")
