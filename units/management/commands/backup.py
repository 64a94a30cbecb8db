"""Write the whole installation into one file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from tests_app.whole_files import written_whole
from units.archive import whole
from units.management import full_disk


class Command(BaseCommand):
    """`manage.py backup`: accounts and every bench with its evidence, as they are at one instant."""

    help = (
        "Write accounts and all benches with their evidence into one file, while others go on working. The file holds "
        "password hashes and private data: keep it where only you can read it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Add where to."""
        parser.add_argument("--to", type=Path, help="file or folder; without it a dated file here")

    def handle(self, *args: Any, to: Path | None, **options: Any) -> None:
        """Write beside the place and move there when it is whole, so that no half backup bears the name of one."""
        dated = f"cooling-ledger-{datetime.now(UTC):%Y-%m-%dT%H%M%SZ}.backup.zip"
        path = (to / dated) if to and to.is_dir() else to or Path(dated)
        with full_disk.in_words(path), written_whole(path, mode=0o600) as file:
            digests = whole.back_up(file)
        for slug, digest in digests.items():
            self.stdout.write(f"{digest}  {slug}")
        self.stdout.write(f"{path}: {len(digests)} benches")
