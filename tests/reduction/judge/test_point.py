"""A balance stated as a point: figures, budgets, what was assumed, what cannot be."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from reduction.align.timeline import Timeline
from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.judge.airside import CLOSURE
from reduction.judge.point import Reduced, point_of, reduce_balance
from reduction.judge.sanity import carnot_cop, impossibilities, with_failed_checks
from reduction.session import (
    CrossCheck,
    Instrument,
    Measured,
    Point,
    RatingCorrection,
    Role,
    Room,
    Settings,
    Severity,
    WindowResult,
)
from reduction.uncertainty.montecarlo import Trial
from tests.reduction.bench_room import HOURS, a_balance, a_channel, a_timeline
from tests.reduction.signals import NOON_S

WINDOW = WindowResult(
    label="whole",
    start=datetime.fromtimestamp(NOON_S, UTC),
    end=datetime.fromtimestamp(NOON_S + HOURS * 3600, UTC),
    proposed=False,
    steady=True,
)
FAST = Settings(monte_carlo_draws=2000)


def a_point(timeline: Timeline | None = None, **changes: object) -> Point:
    return point_of(reduce_balance(a_balance(timeline, **changes), FAST), WINDOW)  # type: ignore[arg-type]


def codes(point: Point) -> list[str]:
    return [finding.code for finding in impossibilities(point)]


def test_figures_of_a_point_agree_with_each_other() -> None:
    point = a_point()
    assert point.capacity_w == pytest.approx(sum(term.value_w for term in point.terms), abs=0.1)
    assert point.cop == pytest.approx(point.capacity_w / point.power_w)
    assert point.eer_btu_per_wh == pytest.approx(point.cop * BTU_PER_H_PER_W)
    assert point.interval_w == pytest.approx(
        (point.capacity_w - point.capacity_u95_w, point.capacity_w + point.capacity_u95_w)
    )


def test_both_budgets_add_up_to_their_u() -> None:
    point = a_point()
    assert sum(line.contribution_w**2 for line in point.budget) == pytest.approx(point.capacity_u_w**2)
    assert point.eer_u95 is not None
    assert sum(line.contribution_w**2 for line in point.eer_budget) == pytest.approx(
        (point.eer_u95 / 2.0) ** 2, rel=1e-3
    )


def test_a_gain_shared_by_heaters_and_unit_cancels_in_the_efficiency() -> None:
    one = Instrument(id="meter", quantity="power", gain_limit=0.05)
    shared, own = (
        a_point(
            a_timeline(None, a_channel("heater", Role.HEATER_CONSTANT_POWER, 2400.0, instrument=one),
                       a_channel("unit", Role.UNIT_POWER, 850.0, instrument=one.model_copy(update={"id": unit})),
                       without=("heater", "unit"))
        )
        for unit in ("meter", "another")
    )  # fmt: skip
    assert shared.cop_u95 is not None
    assert own.cop_u95 is not None
    assert shared.cop_u95 < 0.5 * own.cop_u95
    assert shared.capacity_u95_w == pytest.approx(own.capacity_u95_w, rel=1e-3)


def test_a_point_without_unit_power_has_no_efficiency() -> None:
    point = a_point(a_timeline(without=("unit",)))
    assert point.cop is None
    assert point.eer_u95 is None
    assert point.power_w == 0.0


def test_an_assumed_room_says_which_share_of_the_variance_it_costs() -> None:
    (said,) = [f for f in a_point(room=Room(volume_m3=30.0)).findings if f.code == "room_not_characterised"]
    assert said.sentence.startswith("No run has told the room's ")
    assert "% of the variance" in said.sentence
    assert "two hours with the unit off" in said.remedy
    assert said.remedy.count("±") == 2


def test_a_monte_carlo_run_that_disagrees_is_the_one_reported() -> None:
    reduced = reduce_balance(a_balance(), FAST)
    skewed = Reduced(reduced.balance, reduced.result, Trial(2600.0, 60.0, 2400.0, 2900.0))
    point = point_of(skewed, WINDOW)
    assert point.interval_w == (2400.0, 2900.0)
    assert point.interval_from == "Monte Carlo"
    assert "monte_carlo_reported" in {f.code for f in point.findings}


def test_an_ordinary_point_contradicts_nothing() -> None:
    assert codes(a_point()) == []


def test_a_unit_that_heats_is_said_to() -> None:
    assert codes(a_point(a_timeline({"heater": 0.0, "outside": 4.0}), fixed_loads=())) == ["negative_capacity"]


def test_more_cooling_than_carnot_allows_is_refused() -> None:
    point = a_point(a_timeline({"unit": 40.0, "outside": 44.0}))
    assert carnot_cop(point) == pytest.approx(297.15 / 20.0)
    assert "cop_above_carnot" in codes(point)


def test_the_coils_bound_a_machine_more_closely_than_room_and_outdoors_do() -> None:
    # Carnot between the coldest air that left the one coil and the warmest that left the other: 282.15 K over 40 K.
    probes = a_channel("supply", Role.SUPPLY_TEMP, 9.0), a_channel("outlet", Role.CONDENSER_OUTLET_TEMP, 49.0)
    assert carnot_cop(a_point(a_timeline(None, *probes))) == pytest.approx(282.15 / 40.0)
    impossible = a_point(a_timeline({"unit": 250.0}, *probes))
    assert "cop_above_carnot" in codes(impossible)
    assert "cop_above_carnot" not in codes(a_point(a_timeline({"unit": 250.0})))


def test_without_a_lift_nothing_is_above_carnot_but_what_no_room_unit_reaches_is_refused() -> None:
    assert carnot_cop(a_point(a_timeline({"outside": 24.0}))) == np.inf
    assert "cop_above_carnot" not in codes(a_point(a_timeline({"outside": 24.0, "unit": 150.0})))
    assert "cop_above_carnot" in codes(a_point(a_timeline({"outside": 24.0, "unit": 100.0})))


def test_a_unit_that_heats_with_warm_supply_air_is_refused_as_heating() -> None:
    warm = a_channel("supply", Role.SUPPLY_TEMP, 35.0)
    point = a_point(a_timeline({"heater": 0.0, "outside": 4.0}, warm), fixed_loads=())
    assert codes(point) == ["heating_mode"]
    (said,) = impossibilities(point)
    assert said.severity is Severity.SEVERE
    assert "Only cooling is rated here" in said.sentence


def test_a_capacity_that_cannot_be_told_from_nothing_is_refused() -> None:
    point = a_point(a_timeline({"heater": 5.0, "outside": 24.2}), fixed_loads=(), room=Room(volume_m3=30.0))
    assert codes(point) == ["capacity_not_above_zero"]


def test_a_unit_that_is_off_is_noted_and_no_fault() -> None:
    point = a_point(
        a_timeline({"unit": 4.0, "heater": 5.0, "outside": 24.2}), fixed_loads=(), room=Room(volume_m3=30.0)
    )
    (note,) = impossibilities(point, off_below_w=60.0)
    assert (note.code, note.severity) == ("unit_off", Severity.NOTE)
    assert "it is no capacity" in note.sentence


def test_a_balance_that_does_not_close_while_the_unit_is_off_is_severe() -> None:
    (found,) = impossibilities(a_point(a_timeline({"unit": 4.0})), off_below_w=60.0)
    assert (found.code, found.severity) == ("open_while_off", Severity.SEVERE)


def test_air_wetter_than_saturated_is_refused() -> None:
    point = a_point()
    wet = point.model_copy(update={"conditions": {**point.conditions, "room_rh_percent": Measured(value=104.0, u=2.0)}})
    assert codes(wet) == ["humidity_above_100"]


def test_supply_air_warmer_than_return_air_is_said() -> None:
    warm = a_channel("supply", Role.SUPPLY_TEMP, 30.0)
    assert codes(a_point(a_timeline(None, warm))) == ["supply_warmer_than_return"]


@pytest.mark.parametrize(("ratio", "usable"), [(3.2, False), (1.7, True), (-1.2, True)])
def test_air_that_carries_far_more_than_the_balance_tells_of_heat_that_is_not_logged(
    ratio: float, usable: bool
) -> None:
    check = CrossCheck(
        name=CLOSURE, value=ratio, u95=1.0, quantity_unit="1", expected="1", passed=False, because="Air over balance."
    )
    point = with_failed_checks(a_point().model_copy(update={"cross_checks": (check,)}))
    assert point.usable is usable
    assert point.findings[-1].code == ("cross_check_failed" if usable else "heat_not_accounted_for")


@pytest.mark.parametrize(
    ("closure", "code"), [(0.2, "more_heat_than_the_air_carries"), (2.2, "heat_not_accounted_for")]
)
def test_a_balance_far_from_the_heat_of_the_air_concludes_nothing(closure: float, code: str) -> None:
    check = CrossCheck(
        name=CLOSURE, value=closure, u95=0.2, quantity_unit="1", expected="1", passed=False, because="Air and balance."
    )
    rating = RatingCorrection(
        condition="rating", capacity_w=2600.0, capacity_u95_w=60.0, power_w=850.0, power_u95_w=9.0,
        eer_btu_per_wh=10.4, eer_u95=0.3, factor=1.0, model_u95_fraction=0.01, how="maps",
    )  # fmt: skip
    point = a_point().model_copy(update={"cross_checks": (check,), "ratings": (rating,)})
    judged = with_failed_checks(point)
    assert not judged.usable
    assert judged.ratings == ()
    assert code in {f.code for f in judged.findings}
