"""How much one bench may hold, so that one cannot fill the disk of all: bytes, files, sessions."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.db import connection
from django.db.models import Count, Sum
from django.template.defaultfilters import filesizeformat

from reduction.errors import Place, ReductionError
from tests_app.models import Evidence, PartialUpload, Session
from units.models import Bench

REMEDY = "Ask who runs this site for more room."


class BenchIsFull(ReductionError):
    """What was sent is more than the bench may hold; nothing of it is kept."""


@dataclass(frozen=True)
class Quota:
    """One thing that is counted: how much there is and how much there may be."""

    what: str
    used: int
    most: int

    @property
    def is_near(self) -> bool:
        """Say whether nine tenths are used."""
        return self.used >= 0.9 * self.most

    def __str__(self) -> str:
        used = _written(self.what, self.used) if self.what == "bytes" else f"{self.used:,}"
        return f"{used} of {_written(self.what, self.most)}"


def of(bench: Bench) -> dict[str, Quota]:
    """Return what the bench holds of what it may."""
    held = Evidence.objects.filter(bench=bench).aggregate(bytes=Sum("size_bytes", default=0), files=Count("pk"))
    return {
        "bytes": Quota("bytes", held["bytes"], settings.BENCH_MOST_BYTES),
        "files": Quota("files", held["files"], settings.BENCH_MOST_FILES),
        "sessions": Quota("sessions", Session.objects.filter(bench=bench).count(), settings.BENCH_MOST_SESSIONS),
    }


def on_the_way(bench: Bench) -> int:
    """Return how many bytes the uploads that are under way will have."""
    return PartialUpload.objects.filter(session__bench=bench).aggregate(all=Sum("size_bytes", default=0))["all"]


def require_room(*, bench: Bench, name: str, **more: int) -> None:
    """Raise where a bench would hold more than it may; `more` says of what, by the names that `of` gives.

    The bench's row is locked where a transaction is open, so that two who ask at once are not both let in.
    """
    if connection.in_atomic_block:
        Bench.objects.select_for_update(no_key=True).get(pk=bench.pk)
    held = of(bench)
    for what, count in more.items():
        if held[what].used + count > held[what].most:
            raise BenchIsFull(
                place=Place(name),
                found=f"{_written(what, count)} more for a bench with {_written(what, held[what].used)}",
                expected=f"at most {_written(what, held[what].most)} on one bench",
                remedy=REMEDY,
            )


def _written(what: str, count: int) -> str:
    """Return an amount with its noun.

    >>> _written("bytes", 20 * 2**30), _written("sessions", 12000)
    ('20.0 GB', '12,000 sessions')
    """
    if what == "bytes":
        return filesizeformat(count).replace("\xa0", " ")
    return f"{count:,} {what.removesuffix('s') if count == 1 else what}"
