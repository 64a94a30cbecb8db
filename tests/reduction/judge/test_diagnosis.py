"""Points judged in the light of the whole session: signals of known limits through the whole reduction."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from reduction.align.timeline import Timeline
from reduction.judge.diagnosis import diagnose
from reduction.run import reduce_windows
from reduction.session import Claim, Compressor, Point, Role, UnitKind, UnitUnderTest, WindowResult
from tests.reduction.bench_room import HOURS, TIME_S, a_bench_session, a_channel, a_timeline
from tests.reduction.signals import NOON_S

CLAIMS = (
    Claim(quantity="capacity", value=9000, quantity_unit="Btu/h"),
    Claim(quantity="eer", value=9.8, quantity_unit="Btu/(W·h)"),
)
THIRDS = np.repeat([0, 1, 2], len(TIME_S) // 3 + 1)[: len(TIME_S)]


def _unit(compressor: Compressor = Compressor.VARIABLE_SPEED, claims: tuple[Claim, ...] = CLAIMS) -> UnitUnderTest:
    return UnitUnderTest(model="Norvane W9", kind=UnitKind.WINDOW, compressor=compressor, claims=claims)


def _timeline(
    supply_c: Any, unit_w: Any, room_c: Any = 22.0, heat_w: Any = 1400.0, **more: tuple[Role, Any]
) -> Timeline:
    channels = {
        "supply": (Role.SUPPLY_TEMP, supply_c),
        "inlet": (Role.CONDENSER_INLET_TEMP, 32.0),
        "outlet": (Role.CONDENSER_OUTLET_TEMP, 41.0),
        "humidity": (Role.ROOM_RH, 28.0),
        **more,
    }
    extra = [a_channel(name, role, values) for name, (role, values) in channels.items()]
    return a_timeline({"unit": unit_w, "room": room_c, "heater": heat_w}, *extra)


def _window(start_h: float, end_h: float, label: str = "whole") -> WindowResult:
    start, end = (datetime.fromtimestamp(NOON_S + h * 3600.0, UTC) for h in (start_h, end_h))
    return WindowResult(label=label, start=start, end=end, proposed=False, steady=True)


def _diagnosed(timeline: Timeline, *windows: WindowResult, unit: UnitUnderTest | None = None) -> tuple[Point, ...]:
    session = a_bench_session(unit=unit or _unit())
    points, _ = reduce_windows(timeline, session, windows or (_window(0.0, HOURS),))
    return diagnose(points, timeline, session)


def test_a_cool_room_with_cold_supply_air_and_little_power_is_near_freezing_and_not_rated() -> None:
    (point,) = _diagnosed(_timeline(supply_c=6.0, unit_w=600.0))
    assert point.limit.verdict == "coil near freezing"
    assert point.limit.projection_w is not None
    assert point.limit.projection_w[0] == pytest.approx(point.capacity_w)
    assert point.ratings == ()
    assert {verdict.words for verdict in point.verdicts} == {"cannot tell"}


def test_a_warm_room_at_the_claimed_power_is_at_full_speed_rated_and_judged() -> None:
    (point,) = _diagnosed(_timeline(supply_c=9.0, unit_w=900.0, room_c=26.5, heat_w=2300.0))
    assert point.limit.verdict == "at full speed"
    assert [rating.condition for rating in point.ratings] == ["US room unit test 1 (95 °F outdoors)"]
    assert {verdict.quantity for verdict in point.verdicts} == {"capacity", "eer"}
    assert sum(step.value_w for step in point.shortfall) == pytest.approx(point.capacity_w)


def test_a_trace_of_three_levels_shows_the_lower_two_below_the_known_top() -> None:
    timeline = _timeline(supply_c=14.0, unit_w=np.array([300.0, 520.0, 740.0])[THIRDS])
    windows = [_window(n * HOURS / 3 + 0.05, (n + 1) * HOURS / 3 - 0.05, str(n)) for n in range(3)]
    points = _diagnosed(timeline, *windows, unit=_unit(claims=()))
    assert [point.limit.verdict for point in points] == ["reduced speed", "reduced speed", "cannot tell"]
    assert "740 W" in points[0].limit.because


def test_a_compressor_that_goes_off_and_on_is_cycling_whatever_its_power() -> None:
    unit = np.where((TIME_S - TIME_S[0]) % 600.0 < 360.0, 750.0, 50.0)
    (point,) = _diagnosed(_timeline(supply_c=12.0, unit_w=unit), unit=_unit(Compressor.FIXED_SPEED))
    assert point.limit.verdict == "cycling"
    assert "60%" in point.limit.because


def test_a_unit_that_is_off_claims_nothing() -> None:
    (point,) = _diagnosed(_timeline(supply_c=22.0, unit_w=5.0, heat_w=0.0))
    assert point.limit.verdict == "unit off"
    assert point.verdicts == point.ratings == point.shortfall == ()


def test_without_the_units_power_the_limit_is_not_told() -> None:
    timeline = a_timeline(without=("unit",))
    (point,) = _diagnosed(timeline)
    assert point.limit.verdict == "cannot tell"
    assert "not logged" in point.limit.because


def test_a_swapped_pair_of_probes_trips_a_check() -> None:
    (point,) = _diagnosed(_timeline(supply_c=22.0, unit_w=900.0, heat_w=2300.0, back=(Role.RETURN_TEMP, 9.0)))
    assert any(check.passed is False and "swapped" in check.because for check in point.cross_checks)


def test_an_outdoor_flow_that_changes_between_windows_is_checked_across_them() -> None:
    outlet = np.array([41.0, 41.0, 36.0])[THIRDS]
    timeline = _timeline(supply_c=9.0, unit_w=900.0, heat_w=2300.0, outlet=(Role.CONDENSER_OUTLET_TEMP, outlet))
    windows = (_window(0.05, 0.6, "first"), _window(1.4, 1.95, "last"))
    points = _diagnosed(timeline, *windows)
    for point in points:
        check = next(each for each in point.cross_checks if each.name == "outdoor air flow across windows")
        assert check.passed is False


def test_a_sensible_result_is_rated_with_what_may_have_condensed_unseen() -> None:
    humid = _timeline(supply_c=9.0, unit_w=900.0, room_c=26.5, heat_w=2300.0, humidity=(Role.ROOM_RH, 55.0))
    (point,) = _diagnosed(humid)
    assert point.capacity_kind == "sensible"
    unseen = next(step for step in point.shortfall if step.name == "Not seen by the balance")
    assert unseen.value_w < 0.0
    assert unseen.kind == "modelled"
