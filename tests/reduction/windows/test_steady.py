"""Windows proposed and judged."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from reduction.align.series import Series, mean_over
from reduction.align.timeline import Timeline, align
from reduction.session import Event, Role, Settings, Window, WindowResult
from reduction.windows.steady import judge_window, steady_windows, window_findings
from tests.reduction.signals import NOON_S, a_series, a_session, every, heater

HOURS = 6


def utc(hours: float) -> datetime:
    return datetime.fromtimestamp(NOON_S + 3600 * hours, UTC)


def hours(result: WindowResult) -> tuple[float, float]:
    return (result.start.timestamp() - NOON_S) / 3600, (result.end.timestamp() - NOON_S) / 3600


def a_run(*, drift_k_per_h: float = 0.0, step_s: float = 10.0, **power: np.ndarray) -> Timeline:
    """Six hours of a unit at 600 W against a heater of 1,500 W that is on for half of each ten minutes."""
    time, draw = every(step_s, HOURS), np.random.default_rng(1)
    ripple = 0.2 * np.sin(2 * np.pi * (time - NOON_S) / 600)
    room = 22 + ripple + drift_k_per_h * (time - NOON_S) / 3600 + draw.normal(0, 0.02, len(time))
    unit = power.get("unit", 600 + draw.normal(0, 1, len(time)))
    series: tuple[Series, ...] = (
        a_series(time, unit, Role.UNIT_POWER, column="ac"),
        a_series(time, power.get("heater", heater(time)), Role.HEATER_CYCLING_POWER, column="heater B"),
        a_series(time, room, column="room"),
        a_series(time, 7 + ripple, Role.SUPPLY_TEMP, column="supply"),
        a_series(time, np.full(len(time), 33.0), Role.CONDENSER_INLET_TEMP, column="condenser in"),
    )
    return align(series, Settings())


def evidence(result: WindowResult, words: str) -> float:
    return next(row.value for row in result.evidence if words in row.quantity)


def test_the_mean_of_a_snapped_window_is_that_of_the_cycle() -> None:
    timeline = a_run()
    result = judge_window(timeline, Window(start_utc=utc(1.0), end_utc=utc(1.0 + 35 / 60)))
    found = mean_over(timeline.series["heater B"], result.start.timestamp(), result.end.timestamp())
    assert found.value == pytest.approx(750.0, abs=1.0)
    assert abs(hours(result)[1] - 1.0 - 35 / 60) * 3600 <= 600.0
    assert (result.asked_start, result.asked_end) == (utc(1.0), utc(1.0 + 35 / 60))


def test_a_raw_window_of_35_minutes_warns_of_107_watts() -> None:
    # 3.5 cycles of ten minutes, half on: by hand ±107.1 W.
    timeline = a_run()
    asked = Window(start_utc=utc(1.0), end_utc=utc(1.0 + 35 / 60), snap_to_cycles=False)
    result = judge_window(timeline, asked)
    assert hours(result) == pytest.approx((1.0, 1.0 + 35 / 60))
    assert evidence(result, "heater cycle") == pytest.approx(107.0, abs=4.0)
    assert not result.steady
    cut = next(f for f in window_findings(timeline, result) if f.code == "heater_cycle_cut")
    assert "3.50 cycles of heater B (10.0 min, 50% on)" in cut.sentence


def test_a_calm_run_is_one_window_of_whole_cycles() -> None:
    (result,) = steady_windows(a_run())
    assert result.steady
    assert result.proposed
    assert hours(result)[1] - hours(result)[0] > 5.5
    assert result.cycles == pytest.approx(round(result.cycles or 0.0), abs=0.02)


@pytest.mark.parametrize(("drift", "steady"), [(0.1, True), (0.5, False)])
def test_half_a_kelvin_an_hour_is_refused_at_a_limit_of_three_tenths(drift: float, steady: bool) -> None:
    asked = Window(start_utc=utc(2.0), end_utc=utc(3.5), reason="the only dry hour")
    result = judge_window(a_run(drift_k_per_h=drift), asked)
    assert evidence(result, "slope of the mean room") == pytest.approx(drift, abs=0.03)
    assert result.steady is steady
    assert result.reason == "the only dry hour"


def test_two_levels_of_power_are_never_one_window() -> None:
    time = every(10.0, HOURS)
    timeline = a_run(unit=np.where(time < NOON_S + 3 * 3600, 520.0, 740.0))
    windows = steady_windows(timeline)
    assert len(windows) == 2
    assert hours(windows[0])[1] <= 3.05
    assert hours(windows[1])[0] >= 2.95
    across = judge_window(timeline, Window(start_utc=utc(2.0), end_utc=utc(4.0)))
    assert evidence(across, "levels of unit power") == 2.0


def test_a_declared_door_splits_the_run_and_taking_it_back_joins_it() -> None:
    door = Event(time_utc=utc(3.0), what="door opened", kind="door")
    with_door = steady_windows(a_run(), session=a_session(events=(door,)))
    assert [hours(w)[1] <= 3.01 or hours(w)[0] >= 3.2 for w in with_door] == [True, True]
    assert len(steady_windows(a_run(), session=a_session())) == 1


def test_a_window_that_touches_a_door_says_so() -> None:
    session = a_session(events=(Event(time_utc=utc(3.0), what="door opened", kind="door"),))
    timeline = a_run()
    result = judge_window(timeline, Window(label="w", start_utc=utc(2.0), end_utc=utc(4.0)), session=session)
    codes = {f.code: f.sentence for f in window_findings(timeline, result, session)}
    assert codes["disturbance_in_window"] == "The window w touches door opened at 15:00 UTC, as declared."


def test_snapping_does_not_reach_into_a_door() -> None:
    # The heater switches on at 3 h and at 3 h 10 min; the nearer one to 3.1 h lies beyond the door at 3.13 h.
    asked = Window(start_utc=utc(1.0), end_utc=utc(3.1))
    session = a_session(events=(Event(time_utc=utc(3.13), what="door opened", kind="door"),))
    assert hours(judge_window(a_run(), asked))[1] == pytest.approx(3.167, abs=0.005)
    assert hours(judge_window(a_run(), asked, session=session))[1] == pytest.approx(3.0, abs=0.005)


def a_cycling_unit() -> Timeline:
    time = every(10.0, HOURS)
    return a_run(unit=50 + heater(time, period_s=760.0, duty=0.6, on_w=700.0), heater=np.full(len(time), 900.0))


def test_proposed_windows_of_a_cycling_unit_hold_whole_on_off_cycles() -> None:
    (result,) = steady_windows(a_cycling_unit())
    assert result.cycles == pytest.approx(round(result.cycles or 0.0), abs=0.03)
    assert (result.end - result.start).total_seconds() % 760 == pytest.approx(0.0, abs=20.0)


def test_a_hand_made_window_of_a_cycling_unit_stays_and_the_whole_cycles_are_offered() -> None:
    timeline = a_cycling_unit()
    result = judge_window(timeline, Window(start_utc=utc(2.0), end_utc=utc(3.0)))
    assert hours(result) == pytest.approx((2.0, 3.0))
    assert result.asked_start is None
    offered = next(f for f in window_findings(timeline, result) if f.code == "unit_cycle_cut")
    assert "Whole on-off cycles run from 1" in offered.remedy


def test_missing_time_is_counted_and_said() -> None:
    timeline = a_run()
    kept = np.abs(timeline.series["room"].time_s - NOON_S - 9000) > 300
    holed = align(
        tuple(
            a_series(s.time_s[kept], s.values[kept], s.role, column=s.column, stale_after_s=60.0)
            for s in timeline.series.values()
        )
    )
    result = judge_window(holed, Window(start_utc=utc(2.0), end_utc=utc(3.0)))
    assert result.missing_fraction == pytest.approx(600 / 3600, abs=0.01)
    assert not result.steady
    assert any(f.code == "gap_in_window" for f in window_findings(holed, result))


def test_a_window_outside_the_data_has_nothing_known_and_is_not_steady() -> None:
    result = judge_window(a_run(), Window(start_utc=utc(30.0), end_utc=utc(31.0)))
    assert result.missing_fraction == 1.0
    assert not result.steady


def test_a_window_shorter_than_a_heater_cycle_is_not_steady() -> None:
    result = judge_window(a_run(), Window(start_utc=utc(1.01), end_utc=utc(1.06)))
    assert not result.steady
    assert evidence(result, "heater cycle") > 100.0


def test_a_run_that_never_settles_proposes_nothing() -> None:
    assert steady_windows(a_run(drift_k_per_h=1.5)) == ()


def test_nothing_logged_proposes_nothing() -> None:
    assert steady_windows(align(())) == ()


def test_moving_all_clocks_moves_only_the_times() -> None:
    (here,) = steady_windows(a_run())
    moved = align(
        tuple(a_series(s.time_s + 86_400, s.values, s.role, column=s.column) for s in a_run().series.values())
    )
    (there,) = steady_windows(moved)
    assert (there.start - here.start).total_seconds() == pytest.approx(86_400.0, abs=1e-3)
    assert [row.value for row in there.evidence] == pytest.approx([row.value for row in here.evidence], abs=1e-6)
