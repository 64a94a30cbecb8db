"""Which published editions rest on a reduction."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass

from tests_app.models import Reduction
from units.models import Edition


@dataclass(frozen=True)
class Resting:
    """An edition that stands, and the reductions that its figures come from."""

    edition: Edition
    reductions: tuple[Reduction, ...]


def editions_resting_on(reductions: Iterable[Reduction]) -> list[Resting]:
    """Return the newest edition of each review that names one of these reductions' inputs and method."""
    by_input: dict[tuple[str, str], Reduction] = {(row.input_sha256, row.method_version): row for row in reductions}
    benches = {row.session.bench_id for row in by_input.values()}
    editions = Edition.objects.filter(review__bench__in=benches, superseded_by__isnull=True)
    found = []
    for edition in editions.select_related("review").defer("html").order_by("review__title"):
        named = [
            (session["input_sha256"], session["method_version"])
            for session in (json.loads(edition.document).get("sessions") or {}).values()
        ]
        rows = tuple(by_input[key] for key in named if key in by_input)
        if rows:
            found.append(Resting(edition, rows))
    return found
