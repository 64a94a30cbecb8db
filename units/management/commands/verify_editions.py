"""Prove every edition from what is kept."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from units.editions.verify import verify
from units.models import Edition

WORDS = {True: "proved", False: "BROKEN", None: "not checked"}


class Command(BaseCommand):
    """`manage.py verify_editions`: digests, chain, tables, and the points reduced again."""

    help = (
        "Recompute the digests of all editions and, from kept evidence, their points; exit code 1 where one is broken."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Add which editions, and how deep."""
        parser.add_argument("slug", nargs="*", help="reviews to check; none: all")
        parser.add_argument("--digests-only", action="store_true", help="do not reduce sessions again")

    def handle(self, *args: Any, slug: list[str], digests_only: bool, **options: Any) -> None:
        """Check one edition after the other; a broken one does not stop the others."""
        rows = Edition.objects.select_related("review", "supersedes").order_by("review__slug", "number")
        broken = 0
        for edition in rows.filter(review__slug__in=slug) if slug else rows:
            self.stdout.write(f"{edition.review.slug}, edition {edition.number}")
            for outcome in verify(edition, points=not digests_only):
                broken += outcome.proved is False
                self.stdout.write(f"  {WORDS[outcome.proved]}: {outcome.what}: {outcome.said}")
        if broken:
            raise CommandError(f"{broken} checks failed: what is published is not what was frozen.")
