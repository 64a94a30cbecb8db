"""Archives that a forger made to fit, digests and all: each gets a sentence and leaves nothing behind."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.archives import as_lines, rewritten, rows_of
from tests.units.test_archive_versions import FIRST
from tests.units.test_arrivals import brought, newcomer, nothing_is_here, sent  # noqa: F401  a fixture among them
from tests_app import tasks
from tests_app.models import Job
from units.actions import arrivals

pytestmark = pytest.mark.django_db

FORGED = {
    "an evidence row without its bytes": lambda: {"rows/Evidence.jsonl": _first("Evidence", sha256="a" * 64)},
    "a file of another size": lambda: {"rows/Evidence.jsonl": _first("Evidence", size_bytes=1)},
    "a capacity that its result does not say": lambda: {"rows/Point.jsonl": _first("Point", capacity_w=9e9)},
    "a published point that its edition does not say": lambda: {
        "rows/PublishedPoint.jsonl": _first("PublishedPoint", capacity_w=9e9)
    },
    "an edition that does not hash": lambda: {"rows/Edition.jsonl": _first("Edition", sha256="0" * 64)},
    "a page with a script": lambda: {"rows/Edition.jsonl": _first("Edition", html="<script>alert(1)</script>")},
    "a page with a handler": lambda: {"rows/Edition.jsonl": _first("Edition", html="<img src=x onerror=alert(1)>")},
    "a page with an address that runs": lambda: {
        "rows/Edition.jsonl": _first("Edition", html="<a href=' java\nscript:alert(1)'>x</a>")
    },
    "a certificate that lies elsewhere": lambda: {
        "rows/CalibrationRecord.jsonl": _first("CalibrationRecord", certificate="../secret_key")
    },
    "no number": lambda: {"rows/Room.jsonl": _first("Room", volume_m3="wide")},
    "a number that is none": lambda: {"rows/Room.jsonl": b'{"id": "1", "volume_m3": NaN}\n'},
    "a purpose that is not known": lambda: {"rows/Session.jsonl": _first("Session", purpose="heating")},
    "text where a list belongs": lambda: {"rows/Review.jsonl": _first("Review", points="many")},
    "a name that is an object": lambda: {"rows/Unit.jsonl": _first("Unit", maker={"a": 1})},
    "a zero byte": lambda: {"rows/Unit.jsonl": _first("Unit", notes="a\x00b")},
    "a list for a row": lambda: {"rows/Unit.jsonl": b"[]\n"},
    "a row that never ends": lambda: {"rows/Unit.jsonl": b"[" * 200_000},
    "two benches": lambda: {"rows/Bench.jsonl": _first("Bench") + _first("Bench", id="0" * 32, slug="other")},
    "no bench": lambda: {"rows/Bench.jsonl": b""},
    "the same row twice": lambda: {"rows/Room.jsonl": _first("Room") * 2},
}


def _first(kind: str, **changed: object) -> bytes:
    first, *others = rows_of(FIRST, kind)
    return as_lines([first | changed, *others])


@pytest.mark.parametrize("forgery", FORGED)
def test_a_forged_archive_leaves_nothing_and_gets_a_sentence(forgery, newcomer, tmp_path):  # noqa: F811
    page = sent(newcomer, rewritten(FIRST, tmp_path / "x.zip", FORGED[forgery]()))
    if page.context["form"] is not None:  # seen only when its ledger is looked at
        page = brought(newcomer, page)
    assert page.context["job"].state == "failed"
    assert "mine.bench.zip: found" in page.text
    assert tasks.BROKE not in page.text
    for left in Job.objects.filter(what=arrivals.LOOK):
        newcomer.post(reverse("arrival-drop", args=[left.pk]))
    assert nothing_is_here()
