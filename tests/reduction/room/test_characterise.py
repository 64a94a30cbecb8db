"""Characterising a room: closed forms, simulated rooms of nine stores, an independent session with known truth."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixtures.replicas.loggers import replica
from fixtures.replicas.run import simulate
from fixtures.replicas.sessions import HOUR, draw_characterisation
from reduction.align.timeline import Timeline, align
from reduction.errors import NothingToReduce
from reduction.judge.assumed_room import RUNS
from reduction.room.characterise import characterise, room_found
from reduction.room.envelope import total_ua
from reduction.room.room_regression import whiteness
from reduction.run import reduce_session
from reduction.session import FixedLoad, LogFile, Role, Room, Session, UnitKind, UnitUnderTest
from tests.coverage.adapter import as_session
from tests.coverage.study import room_rows
from tests.practice_cases import session_of
from tests.reduction.signals import a_series, every

INDEPENDENT = Path(__file__).resolve().parents[3] / "fixtures" / "independent" / "p5"
UA, C = 30.0, 5.0e5  # W/K and J/K of the plainest room: it cools with 4.6 h
TIME_S = every(60.0, 18.0)
SINCE_S = TIME_S - TIME_S[0]
OUTDOOR_C = 10.0 + 3.0 * np.sin(2 * np.pi * SINCE_S / 86_400.0)


def a_session(**changes: Any) -> Session:
    given: dict[str, Any] = {
        "name": "night run",
        "purpose": "characterisation",
        "unit": UnitUnderTest(model="Norvane W9", kind=UnitKind.WINDOW),
        "room": Room(volume_m3=30.0),
        "files": (LogFile(path="log.csv"),),
        "fixed_loads": (FixedLoad(what="loggers", power_w=40.0, u95_w=2.0),),
    }
    return Session(**given | changes)


def one_store(heater_w: np.ndarray, start_c: float, outdoor_c: np.ndarray = OUTDOOR_C) -> np.ndarray:
    """C·dT/dt = P + UA·(T_out − T) with 40 W of loggers, in steps of a second."""
    room, course = start_c, []
    for power, out in zip(heater_w + 40.0, outdoor_c, strict=True):
        course.append(room)
        for _ in range(60):
            room += (power + UA * (out - room)) / C
    return np.array(course)


def a_run(heater_w: np.ndarray, room_c: np.ndarray, *, unit_w: Any = 0.0, outdoor_c: Any = OUTDOOR_C) -> Timeline:
    noise = np.random.default_rng(5).normal(0.0, 0.01, TIME_S.size)
    channels = {
        "heater": (Role.HEATER_CONSTANT_POWER, heater_w),
        "room": (Role.ROOM_TEMP, room_c + noise),
        "outdoor": (Role.OUTDOOR_TEMP, outdoor_c),
        "unit": (Role.UNIT_POWER, unit_w),
    }
    return align(
        tuple(
            a_series(TIME_S, np.broadcast_to(np.asarray(values, float), TIME_S.shape), role, column=name, key=name)
            for name, (role, values) in channels.items()
        )
    )


HEATED = np.where(SINCE_S < 10 * 3600.0, 600.0, 0.0)


def test_a_room_of_one_store_is_found() -> None:
    fit = characterise(a_run(HEATED, one_store(HEATED, 20.0)), a_session())
    (outdoor,) = fit.surfaces
    assert outdoor.ua_w_per_k == pytest.approx(UA, abs=outdoor.u95_w_per_k)
    assert outdoor.u95_w_per_k < 0.25 * UA
    assert fit.c_eff_j_per_k == pytest.approx(C, abs=fit.c_eff_u95_j_per_k)
    assert fit.identifiable


def test_the_picture_of_the_fit_is_the_heat_that_was_given_and_what_the_model_makes_of_it() -> None:
    fit = characterise(a_run(HEATED, one_store(HEATED, 20.0)), a_session())
    hours, given, made = np.array(fit.course_w).T
    assert np.all(np.diff(hours) > 0.0)
    assert given.mean() == pytest.approx(HEATED.mean() + 40.0, rel=0.05), "40 W of loggers"
    assert np.std(given - made) < 0.05 * np.std(given)


def test_its_time_constant_is_that_of_the_exponential() -> None:
    # closed form: a room of one store cools with C/UA = 4.63 h
    fit = characterise(a_run(HEATED, one_store(HEATED, 20.0)), a_session())
    assert fit.time_constants_h[0] == pytest.approx(C / UA / 3600.0, rel=0.35)


def test_without_a_temperature_difference_no_ua_is_told() -> None:
    level = np.full(TIME_S.size, 20.0)
    fit = characterise(a_run(np.full(TIME_S.size, 20.0), level, outdoor_c=19.8), a_session())
    assert not fit.identifiable
    assert "room and outdoor were within 0.2 K" in fit.because
    assert "hardly any heat" in fit.because


def test_a_session_with_the_unit_running_is_refused_with_what_to_do() -> None:
    with pytest.raises(NothingToReduce, match="Log the room with the unit off"):
        characterise(a_run(HEATED, one_store(HEATED, 20.0), unit_w=600.0), a_session())


@pytest.mark.parametrize(("split_k", "refused"), [(12.0, True), (1.0, False)])
def test_where_its_power_was_not_logged_cold_supply_air_says_that_the_unit_runs(split_k: float, refused: bool) -> None:
    room = one_store(HEATED, 20.0)
    run = a_run(HEATED, room)
    supply = a_series(TIME_S, room - split_k, Role.SUPPLY_TEMP, column="supply", key="supply")
    run = align((*(each for key, each in run.series.items() if key != "unit"), supply))
    if refused:
        with pytest.raises(NothingToReduce, match=r"0\.0 h with the unit off"):
            characterise(run, a_session())
    else:
        assert characterise(run, a_session()).because.startswith("18.0 h with the unit off")


def test_only_the_spell_with_the_unit_off_is_used() -> None:
    unit = np.where(SINCE_S < 4 * 3600.0, 600.0, 0.0)
    fit = characterise(a_run(HEATED, one_store(HEATED, 20.0), unit_w=unit), a_session())
    assert fit.because.startswith("14.0 h with the unit off")


def test_a_wrong_thermometer_is_in_the_uncertainty() -> None:
    run = a_run(HEATED, one_store(HEATED, 20.0))
    room = run.series["room"]
    vague = replace(run, series=run.series | {"room": replace(room, placement_u=1.0)})
    sharp, wide = (characterise(each, a_session()).surfaces[0] for each in (run, vague))
    assert wide.u95_w_per_k > 1.5 * sharp.u95_w_per_k


def test_a_cooling_session_is_not_fitted() -> None:
    assert room_found(a_run(HEATED, one_store(HEATED, 20.0)), a_session(purpose="cooling")) == (None, ())


def test_what_cannot_be_fitted_is_a_finding_not_an_end() -> None:
    fit, (finding,) = room_found(a_run(HEATED, one_store(HEATED, 20.0), unit_w=600.0), a_session())
    assert fit is None
    assert finding.code == "room_not_fitted"


def test_white_residuals_are_told_from_patterned_ones() -> None:
    white = np.random.default_rng(2).standard_normal(200)
    assert whiteness(white)[1] > 0.05 > whiteness(np.cumsum(white))[1]


def test_an_independent_run_is_recovered_within_its_uncertainty() -> None:
    """A simulator of five stores that is not ours: UA to both sides and the capacity of air with furniture."""
    result = reduce_session(session_of(json.loads((INDEPENDENT / "case.json").read_text("utf-8"))), base=INDEPENDENT)
    truth = json.loads((INDEPENDENT / "truth.json").read_text("utf-8"))
    fit = result.room_fit
    assert fit is not None
    outdoor, adjacent = fit.surfaces
    assert outdoor.ua_w_per_k == pytest.approx(truth["ua_true"]["ua_out_w_per_k"], abs=outdoor.u95_w_per_k)
    assert adjacent.ua_w_per_k == pytest.approx(truth["ua_true"]["ua_adj_w_per_k"], abs=adjacent.u95_w_per_k)
    fast = truth["dynamics_true"]["c_air_plus_fast_j_per_k"]
    assert fit.c_eff_j_per_k == pytest.approx(fast, abs=fit.c_eff_u95_j_per_k)
    assert "ΣUA" in fit.because


def test_surfaces_told_by_one_run_keep_what_they_share() -> None:
    """A run like the independent one knows the sum of two conductances far better than either."""
    session = session_of(json.loads((INDEPENDENT / "case.json").read_text()))
    fit = reduce_session(session, base=INDEPENDENT).room_fit
    (outdoor, adjacent), total = fit.surfaces, total_ua(fit.surfaces)
    assert adjacent.correlation == (pytest.approx(fit.correlation[0][1], abs=1e-4),)
    assert adjacent.correlation[0] < -0.5
    assert f"{total[1]:.1f} W/K" in fit.because
    assert total[1] < min(outdoor.u95_w_per_k, adjacent.u95_w_per_k)


def _part(whole: Timeline, first_s: float, last_s: float) -> Timeline:
    """A log that begins and ends with a part of another."""
    series = []
    for each in whole.series.values():
        kept = (each.time_s >= first_s) & (each.time_s <= last_s)
        series.append(replace(each, time_s=each.time_s[kept], values=each.values[kept]))
    return align(tuple(series))


def test_two_hours_with_an_hour_of_heat_tell_a_room_by_half_and_two_hours_without_tell_none() -> None:
    """Simulated rooms of nine stores: what the finding about a room never characterised promises."""
    rng = np.random.default_rng(3)
    plan = draw_characterisation(12, rng)
    course = simulate(plan, rng)
    off, told, bare = [], [], []
    for i in range(12):
        one = replica(plan, course, i, rng)
        session, timeline = as_session(one)
        switched_s = one.known.window_s[1]
        fit = characterise(_part(timeline, switched_s - HOUR, switched_s + HOUR), session)
        value, u95 = total_ua(fit.surfaces)
        off.append(abs(value - plan.rooms.ua_out[i] - plan.rooms.ua_adjacent[i]) / u95)
        told.append(u95 / value)
        cold = characterise(_part(timeline, switched_s + 60.0, switched_s + 2.1 * HOUR), session)
        assert not cold.identifiable
        bare.append("hardly any heat" in cold.because)
        assert (cold.surfaces == ()) is bare[-1]
    assert any(bare)
    assert sum(each <= 1.0 for each in off) >= 11
    assert np.median(told) / 2.0 == pytest.approx(RUNS[0][1], abs=0.06)


def test_simulated_rooms_are_recovered_as_often_as_stated() -> None:
    rows = {row.what: row for row in room_rows(16, seed=2)}
    assert {what: row.coverage for what, row in rows.items() if row.coverage < 0.8} == {}
    assert abs(rows["ΣUA"].bias) < 0.2


def test_a_day_is_fitted_within_a_second() -> None:
    rng = np.random.default_rng(4)
    plan = replace(draw_characterisation(1, rng), log_s=24 * HOUR)
    session, timeline = as_session(replica(plan, simulate(plan, rng), 0, rng))
    start = time.process_time()
    characterise(timeline, session)
    assert time.process_time() - start < 1.0
