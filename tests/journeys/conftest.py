"""The bench that journeys are walked on."""

from __future__ import annotations

import pytest

from tests import builders
from tests.journeys.loggers import UA_HALL, UA_OUTDOOR
from tests.journeys.walking import PASSWORD
from units.models import Bench, RoomValue


@pytest.fixture
def bench_of_four(transactional_db: None) -> Bench:
    """Return a bench with its people and the room of the session, characterised some weeks before."""
    bench = Bench.objects.create(name="Larkmoor Bench", slug="larkmoor", is_synthetic=True)
    for role in ("owner", "tester", "reader"):
        builders.a_person(bench=bench, role=role, username=role, password=PASSWORD)
    room = builders.a_room(bench=bench, name="North room", volume_m3=30.0, characterised=False)
    RoomValue.objects.create(
        room=room,
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
    return bench
