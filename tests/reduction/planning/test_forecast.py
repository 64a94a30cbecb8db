"""The engine run forward against what it then says of sessions from a generator with more thermal stores."""

from __future__ import annotations

import numpy as np
import pytest

from fixtures.replicas.loggers import Replica, replica
from fixtures.replicas.run import simulate
from fixtures.replicas.sessions import draw_plan
from reduction.planning.forecast import Run, forecast
from reduction.planning.plan_request import Equipment
from reduction.run import choose_windows, reduce_windows
from reduction.session import Point, Session
from tests.coverage.adapter import as_session

REPLICAS = 5


def _planned(point: Point, session: Session, made: Replica, soak_s: float) -> Run:
    """What a tester would have planned: a soaked room, the same instruments, the conditions that came about."""
    by_quantity = {instrument.quantity: instrument for instrument in session.instruments}
    at = {name: measured.value for name, measured in point.conditions.items()}
    return Run(
        unit=session.unit,
        room=session.room,
        equipment=Equipment(
            heater_meter=by_quantity["power"],
            unit_meter=by_quantity["power"],
            thermometer=by_quantity["temperature"],
            room_sensors=sum(log.role == "room_temp" for log in made.logs),
            placement_u_c=max(log.placement_u for log in made.logs),
            heater_kind=session.heater_kind,
        ),
        room_temp_c=at["room_temp_c"],
        start_temp_c=at["room_temp_c"],
        outdoor_temp_c=at["outdoor_temp_c"],
        adjacent_temp_c=at["adjacent_temp_c"],
        capacity_w=point.capacity_w,
        power_w=point.power_w,
        other_loads_w=session.fixed_loads[0].power_w,
        soak_s=soak_s,
        window_s=(point.end - point.start).total_seconds(),
    )


@pytest.mark.parametrize("kind", ["steady", "cycling heater", "large envelope", "room not characterised"])
def test_the_predicted_uncertainty_is_within_a_quarter_of_what_sessions_then_give(kind: str) -> None:
    rng = np.random.default_rng(3)
    plan = draw_plan(kind, REPLICAS, rng)
    course = simulate(plan, rng)
    ratios = []
    for number in range(REPLICAS):
        made = replica(plan, course, number, rng)
        session, timeline = as_session(made)
        (point, *_), _ = reduce_windows(timeline, session, choose_windows(timeline, session))
        soak_s = made.known.window_s[0] - timeline.start_s - float(plan.on_s[number])
        ratios.append(forecast(_planned(point, session, made, soak_s)).capacity_u95_w / point.capacity_u95_w)
    assert 0.75 < np.median(ratios) < 1.25
