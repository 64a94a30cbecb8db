"""What a command says where a disk is full."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.core.management.base import CommandError

from units.problems import is_full


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Say in a sentence that a disk is full, here or where the site keeps its files and database."""
    try:
        yield
    except Exception as error:
        if is_full(error):
            raise CommandError(f"A disk is full: nothing of {path} was kept. Make room and run this again.") from error
        raise
