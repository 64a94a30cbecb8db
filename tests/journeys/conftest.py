"""The bench that journeys are walked on."""

from __future__ import annotations

from typing import Any

import pytest

from tests import builders
from tests.journeys.loggers import UA_HALL, UA_OUTDOOR
from tests.journeys.walking import PASSWORD, assert_fit_for_all
from units.models import Bench, RoomValue


@pytest.fixture
def look(keep_screenshot: Any) -> Any:
    """Return what looks at a page on the way: accessible, within a phone's width, kept as a picture."""

    def at(page: Any, moment: str) -> None:
        assert_fit_for_all(page)
        keep_screenshot(page, moment)

    return at


@pytest.fixture
def bench_of_three(transactional_db: None) -> Bench:
    """Return a bench with its people and a room of which only the size is known."""
    bench = Bench.objects.create(name="Larkmoor Bench", slug="larkmoor", is_synthetic=True)
    for role in ("owner", "tester", "reader"):
        builders.a_person(bench=bench, role=role, username=role, password=PASSWORD)
    builders.a_room(bench=bench, name="North room", volume_m3=30.0, characterised=False)
    return bench


@pytest.fixture
def bench_of_four(bench_of_three: Bench) -> Bench:
    """Return the bench with its room characterised some weeks before the session."""
    RoomValue.objects.create(
        room=bench_of_three.rooms.get(),
        valid_from="2024-07-01",
        surfaces=[
            {"to": "outdoor", "ua_w_per_k": UA_OUTDOOR, "u95_w_per_k": 1.96},
            {"to": "hall", "ua_w_per_k": UA_HALL, "u95_w_per_k": 3.5},
        ],
        c_eff_j_per_k=408_000.0,
        c_eff_u95_j_per_k=97_000.0,
        includes_infiltration=True,
        found_by="co-heating and off run",
    )
    return bench_of_three
