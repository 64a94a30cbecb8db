"""The engine run forward against what it then says of sessions from a generator with more thermal stores."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

from fixtures.replicas.loggers import Replica, replica
from fixtures.replicas.run import Course, heaters, simulate
from fixtures.replicas.sessions import KINDS, STEP_S, Plan, draw_characterisation, draw_plan
from reduction.planning.forecast import EQUILIBRIUM_S, Run, forecast, steady_range_s, time_to_steady_s
from reduction.planning.plan_request import Equipment
from reduction.room.characterise import characterise
from reduction.run import choose_windows, reduce_windows
from reduction.session import Room, Session
from reduction.windows.steadiness import default_limits
from tests.coverage.adapter import as_session

REPLICAS, SETTLING = 7, 24
PLANNED = (
    "set_c", "set_before_c", "before_k", "on_s", "change_s", "switched_share", "adjacent_c", "rated_w", "unit_power_w",
)  # fmt: skip
HALF_AN_HOUR = round(1800.0 / STEP_S)


def _equipment(session: Session, made: Replica) -> Equipment:
    by_id = {instrument.id: instrument for instrument in session.instruments}
    rooms = [log for log in made.logs if log.role == "room_temp"]
    return Equipment(
        heater_meter=by_id["heater a"],
        unit_meter=by_id["unit"],
        thermometer=by_id["room 1"],
        room_sensors=len(rooms),
        placement_u_c=rooms[0].placement_u,
        heater_kind=session.heater_kind,
    )


def _planned(session: Session, made: Replica, plan: Plan, course: Course, number: int) -> Run:
    """What a tester would plan: this room, these instruments, the conditions wanted and the change that leads there."""
    one = {name: float(getattr(plan, name)[number]) for name in PLANNED}
    changed = one["change_s"] > one["on_s"]
    began_s = max(one["on_s"], one["change_s"])
    step_k = one["set_before_c"] + (0.0 if changed else one["before_k"]) - one["set_c"]
    towards = one["switched_share"] if step_k > 0.0 else 1.0 - one["switched_share"]
    (start, end), outdoor = made.known.window_s, course.outdoor_c[number]
    first, last = (round((t - made.time_s[0]) / STEP_S) for t in (start, end))
    return Run(
        unit=session.unit,
        room=session.room,
        equipment=_equipment(session, made),
        room_temp_c=one["set_c"],
        start_temp_c=one["set_c"] + step_k,
        outdoor_temp_c=float(outdoor[first:last].mean()),
        adjacent_temp_c=one["adjacent_c"],
        capacity_w=one["rated_w"],
        power_w=one["unit_power_w"],
        other_loads_w=session.fixed_loads[0].power_w,
        soak_s=start - made.time_s[0] - began_s,
        window_s=end - start,
        logged_from_s=-began_s,  # these logs begin when the room has been at work for hours
        runs_before=changed,
        outdoor_drift_k_per_h=float(outdoor[last - 1] - outdoor[first]) / (end - start) * 3600.0,
        spare_w=towards * float(heaters(plan)[1][number]),
    )


@pytest.mark.parametrize("kind", [*KINDS, "room not characterised"])
def test_the_predicted_uncertainties_are_within_a_quarter_of_what_sessions_then_give(kind: str) -> None:
    rng = np.random.default_rng(3)
    plan = draw_plan(kind, REPLICAS, rng)
    course = simulate(plan, rng)
    ratios = []
    for number in range(REPLICAS):
        made = replica(plan, course, number, rng)
        session, timeline = as_session(made)
        (point, *_), _ = reduce_windows(timeline, session, choose_windows(timeline, session))
        found = forecast(_planned(session, made, plan, course, number))
        ratios.append((found.capacity_u95_w / point.capacity_u95_w, found.eer_u95 / point.eer_u95))
    capacity, efficiency = np.median(ratios, axis=0)
    assert 0.75 < capacity < 1.25
    assert 0.75 < efficiency < 1.25


def _seen_steady_s(course: Course, plan: Plan, number: int) -> float:
    """When the room of a session first changes, over half an hour, no faster than the limit, near its set point."""
    room = course.room_c[number, round(float(plan.change_s[number]) / STEP_S) :]
    spans = np.lib.stride_tricks.sliding_window_view(room, HALF_AN_HOUR)[:: round(60.0 / STEP_S)]
    hours = np.arange(HALF_AN_HOUR) * STEP_S / 3600.0
    hours -= hours.mean()
    near = np.abs(spans.mean(axis=1) - plan.set_c[number]) <= 1.0
    calm = np.abs(spans @ hours) / (hours @ hours) <= default_limits()["room_temp_slope"].limit
    settled = np.flatnonzero(calm & near)
    return float(settled[0] if settled.size else len(spans)) * 60.0  # at least so long, where the log ends before


def _characterised(room: Room, made: Replica) -> Room:
    """The room with all that a run with the unit off says of it."""
    session, timeline = as_session(made)
    fit = characterise(timeline, session)
    return room.model_copy(
        update={
            "surfaces": fit.surfaces,
            "c_eff_j_per_k": fit.c_eff_j_per_k,
            "c_eff_u95_j_per_k": fit.c_eff_u95_j_per_k,
            "slow_mass": fit.slow_mass,
        }
    )


@cache
def _settled() -> dict[str, np.ndarray]:
    """Of sessions in rooms known in three ways: predicted over seen, whether the range held, predicted without a limit.

    Shape (sessions, 3) each; seen with each session's hour of equilibrium.
    """
    rng = np.random.default_rng(5)
    plan = draw_plan("set-point change", SETTLING, rng)
    off = replace(draw_characterisation(SETTLING, rng), rooms=plan.rooms)
    course, idle = simulate(plan, rng), simulate(off, rng)
    found: dict[str, list[tuple[float, bool, float]]] = {"characterised": [], "UA and C stated": [], "never": []}
    for number in range(SETTLING):
        made = replica(plan, course, number, rng)
        session, _ = as_session(made)
        run = _planned(session, made, plan, course, number)
        seen_s = _seen_steady_s(course, plan, number) + EQUILIBRIUM_S
        rooms = (
            _characterised(run.room, replica(off, idle, number, rng)), run.room, Room(volume_m3=run.room.volume_m3),
        )  # fmt: skip
        for lines, room in zip(found.values(), rooms, strict=True):
            there = replace(run, room=room)
            lighter, heavier = steady_range_s(there)
            forgetful = time_to_steady_s(replace(there, spare_w=1e9))
            lines.append((time_to_steady_s(there) / seen_s, lighter <= seen_s <= heavier, forgetful / seen_s))
    return {known: np.array(lines) for known, lines in found.items()}


@pytest.mark.parametrize("known", ["characterised", "UA and C stated", "never"])
def test_the_predicted_time_to_steady_is_within_a_quarter_of_what_sessions_then_take(known: str) -> None:
    """Rooms characterised by a run of their own, by what a tester states, and by nothing but their volume.

    A forecast that forgot how little heat there is to spare would fall far short: broken so once, on purpose.
    """
    ratio, held, forgetful = _settled()[known].T
    assert 0.75 < np.median(ratio) < 1.25
    assert np.median(forgetful) < 0.75
    assert binom.cdf(held.sum(), SETTLING, 0.8) > 0.02, "four in five, as the plan says, as far as chance allows"
