"""Points brought to a rating condition, the shortfall in steps, the claim judged."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reduction.balance.coil import CoilTemp, unseen_latent_w, working_wet_bulb_c
from reduction.errors import InvalidSession
from reduction.judge.claims import (
    Claimed,
    claim_in_si,
    claimed_figures,
    default_condition,
    named_condition,
    tolerance_of,
)
from reduction.judge.decision import Belief
from reduction.judge.explain import Shown, shortfall
from reduction.judge.rated_point import RatedPoint
from reduction.judge.rating import air_side_ceiling_w, correction_factor, rating_correction
from reduction.judge.verdict import verdicts
from reduction.session import Claim, Condition, Limit, Measured, UnitKind, UnitUnderTest

REFERENCE = (19.4444, 35.0)
AT_FULL_SPEED = Limit(verdict="at full speed", because="")
NEAR_FREEZING = Limit(verdict="coil near freezing", because="")


def _m(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u)


def _point(**changes: Any) -> RatedPoint:
    point: dict[str, Any] = {
        "kind": UnitKind.WINDOW,
        "capacity": _m(2560.0, 20.0),
        "power": _m(904.0, 4.0),
        "room_temp_c": _m(26.4, 0.1),
        "room_wet_bulb_c": _m(17.7, 0.2),
        "outdoor_temp_c": _m(30.1, 0.2),
        "limit": AT_FULL_SPEED,
        "coil": CoilTemp(1.0, 7.5),
        "supply_temp_c": 8.5,
    }
    return RatedPoint(**{**point, **changes})


def _at_rating(**changes: Any) -> RatedPoint:
    return _point(room_temp_c=_m(26.6667), room_wet_bulb_c=_m(19.4444), outdoor_temp_c=_m(35.0), **changes)


def _cool_room(**changes: Any) -> RatedPoint:
    return _point(
        **{
            "capacity": _m(1700.0, 20.0),
            "power": _m(600.0, 3.0),
            "room_temp_c": _m(22.0, 0.1),
            "room_wet_bulb_c": _m(11.7, 0.3),
            "outdoor_temp_c": _m(33.0, 0.2),
            "supply_temp_c": 5.3,
            "coil": CoilTemp(-2.0, 4.5),
            "limit": NEAR_FREEZING,
            **changes,
        }
    )


def _unit(*claims: Claim, kind: UnitKind = UnitKind.WINDOW) -> UnitUnderTest:
    return UnitUnderTest(model="Invented W9", kind=kind, claims=claims)


def _capacity(btu_per_h: float) -> Claim:
    return Claim(quantity="capacity", value=btu_per_h, quantity_unit="Btu/h")


def _claimed(*claims: Claim) -> Claimed:
    return claimed_figures(_unit(*claims))


def test_a_point_at_the_rating_condition_is_not_moved_and_gains_nothing_but_its_conditions_doubt() -> None:
    rated = rating_correction([_at_rating()], default_condition(UnitKind.WINDOW))
    assert rated.factor == pytest.approx(1.0, abs=1e-4)
    assert rated.capacity_u95_w == pytest.approx(40.0, rel=0.02)


@pytest.mark.parametrize("outdoor_temp_c", [32.0, 28.0, 24.0])
def test_the_uncertainty_of_a_correction_grows_with_distance(outdoor_temp_c: float) -> None:
    near = correction_factor(_point(outdoor_temp_c=_m(outdoor_temp_c + 2.0)), REFERENCE)
    far = correction_factor(_point(outdoor_temp_c=_m(outdoor_temp_c)), REFERENCE)
    assert far.u > near.u


def test_the_spread_between_the_published_maps_is_part_of_it() -> None:
    # Published maps of the two window units: 2400 W at 18/30 °C is 2412.65 W by one and 2390.19 W by the other.
    factor = correction_factor(
        _point(room_wet_bulb_c=_m(18.0), outdoor_temp_c=_m(30.0), coil=CoilTemp(7.0, 7.0)), REFERENCE
    )
    assert factor.value == pytest.approx(0.5 * (2412.65 + 2390.19) / 2400.0, abs=1e-4)
    assert factor.u > 0.5 * (2412.65 - 2390.19) / 2400.0


def test_more_points_of_one_unit_narrow_its_rating_and_teach_its_own_slope() -> None:
    condition = default_condition(UnitKind.WINDOW)
    points = [
        _point(outdoor_temp_c=_m(t, 0.1), capacity=_m(2900.0 - 15.0 * (t - 20.0), 8.0)) for t in (22.0, 27.0, 32.0)
    ]
    one, three = (rating_correction(chosen, condition) for chosen in (points[:1], points))
    assert three.capacity_u95_w < one.capacity_u95_w
    assert "own slopes from several points" in three.how


def test_capacity_follows_the_dry_bulb_alone_once_the_coil_is_dry() -> None:
    coil = CoilTemp(5.0, 5.0)
    assert working_wet_bulb_c(22.0, 9.0, coil) == working_wet_bulb_c(22.0, 11.0, coil)
    assert working_wet_bulb_c(24.0, 9.0, coil)[0] > working_wet_bulb_c(22.0, 9.0, coil)[0]
    assert working_wet_bulb_c(22.0, 16.0, coil) == (16.0, 16.0)


@pytest.mark.parametrize("verdict", ["unit off", "not steady", "cycling", "coil near freezing"])
def test_a_state_no_map_describes_is_not_corrected(verdict: str) -> None:
    point = _point(limit=Limit(verdict=verdict, because=""))
    assert rating_correction([point], default_condition(UnitKind.WINDOW)) is None


def test_the_ceiling_of_a_cool_room_is_what_its_air_flow_can_carry() -> None:
    # Own formula in a dry room: Q (T_ref − T_sup) / (T_room − T_sup), with heat capacities of dry air.
    dry = Condition(room_temp_c=26.7, room_wet_bulb_c=13.2, outdoor_temp_c=35.0)
    ceiling = air_side_ceiling_w(_cool_room(capacity=_m(1700.0), room_wet_bulb_c=_m(11.3)), dry)
    assert ceiling == pytest.approx(1700.0 * (26.7 - 5.3) / (22.0 - 5.3), rel=0.01)


def test_unseen_condensate_is_bounded_by_the_coil_and_the_room() -> None:
    coil = CoilTemp(-1.9, 4.4)
    dry = unseen_latent_w(1700.0, 0.0030, coil, 22.0)
    humid = unseen_latent_w(1700.0, 0.0100, coil, 22.0)
    unknown = unseen_latent_w(1700.0, None, coil, 22.0)
    fed = unseen_latent_w(1700.0, 0.0100, coil, 22.0, at_most_kg_per_s=1e-5)
    assert fed.value + math.sqrt(3.0) * fed.u == pytest.approx(24.6)
    assert dry.value < 10.0
    assert humid.value > 500.0
    assert unknown.value + math.sqrt(3.0) * unknown.u == pytest.approx(1700.0 * (1 / 0.65 - 1))


@given(
    capacity=st.floats(500.0, 6000.0),
    claim=st.floats(3000.0, 20000.0),
    room=st.floats(20.0, 30.0),
    outdoor=st.floats(20.0, 45.0),
)
def test_the_steps_of_a_shortfall_sum_to_what_was_measured(
    capacity: float, claim: float, room: float, outdoor: float
) -> None:
    point = _cool_room(capacity=_m(capacity, 20.0), room_temp_c=_m(room, 0.1), outdoor_temp_c=_m(outdoor, 0.1))
    shown = Shown(point.capacity, _m(40.0, 20.0), (700.0, 1000.0))
    steps = shortfall(point, _claimed(_capacity(claim)), shown)
    assert math.fsum(step.value_w for step in steps) == pytest.approx(capacity, abs=1e-9)
    assert [step.name for step in steps] == [
        "Claim",
        "Room temperature",
        "Room humidity",
        "Outdoor temperature",
        "Not seen by the balance",
        "Limit",
        "Remainder",
    ]


def test_a_cool_dry_room_explains_most_of_a_gap_and_the_rest_is_no_shortfall() -> None:
    steps = shortfall(_cool_room(), _claimed(_capacity(9000.0)), Shown(_m(1700.0, 20.0), None, (760.0, 1010.0)))
    by_name = {step.name: step for step in steps}
    assert by_name["Room temperature"].value_w < 0.0
    assert by_name["Limit"].value_w < -200.0
    assert "no shortfall" in by_name["Remainder"].because


def test_the_temperature_and_humidity_steps_are_together_the_step_of_the_maps() -> None:
    point = _cool_room(limit=AT_FULL_SPEED, outdoor_temp_c=_m(35.0))
    steps = shortfall(point, _claimed(_capacity(9000.0)), Shown(point.capacity))
    moved = 1.0 / correction_factor(point, REFERENCE).value
    assert 1.0 + (steps[1].value_w + steps[2].value_w) / steps[0].value_w == pytest.approx(moved, rel=0.005)


def test_nothing_claimed_is_nothing_to_explain() -> None:
    assert shortfall(_point(), _claimed(), Shown(_m(1.0))) == ()


def test_a_point_near_freezing_never_falls_short_while_its_ceiling_reaches_the_claim() -> None:
    (verdict,) = verdicts(_cool_room(), _unit(_capacity(9000.0)))
    assert verdict.words == "cannot tell"
    assert verdict.measured - verdict.measured_u95 < 1700.0


def test_a_point_near_freezing_falls_short_when_even_its_ceiling_does() -> None:
    (verdict,) = verdicts(_cool_room(), _unit(_capacity(16000.0)))
    assert verdict.words == "falls short"


@pytest.mark.parametrize(
    ("btu_per_h", "words"),
    [(8000.0, "meets"), (9000.0, "meets within tolerance"), (9300.0, "cannot tell"), (11000.0, "falls short")],
)
def test_a_claim_is_judged_in_words_by_probability(btu_per_h: float, words: str) -> None:
    (verdict,) = verdicts(_point(), _unit(_capacity(btu_per_h)))
    assert verdict.words == words
    assert verdict.tolerance == 0.05
    assert verdict.scheme == "US room unit certification"


def test_more_power_than_claimed_is_the_shortfall_of_a_power_claim() -> None:
    less, more = (Claim(quantity="power", value=value, quantity_unit="W") for value in (1100.0, 800.0))
    assert [verdict.words for verdict in verdicts(_point(), _unit(less, more))] == ["meets", "falls short"]


@pytest.mark.parametrize(
    ("claim", "kind"),
    [
        (Claim(quantity="ceer", value=12.0, quantity_unit="Btu/Wh"), UnitKind.WINDOW),
        (Claim(quantity="sacc", value=6000, quantity_unit="Btu/h"), UnitKind.SINGLE_DUCT_PORTABLE),
        (Claim(quantity="capacity", value=10000, quantity_unit="Btu/h"), UnitKind.SINGLE_DUCT_PORTABLE),
    ],
)
def test_a_claim_on_another_basis_is_not_compared(claim: Claim, kind: UnitKind) -> None:
    (verdict,) = verdicts(_point(kind=kind), _unit(claim, kind=kind))
    assert verdict.words == "not comparable"
    assert verdict.because.startswith("Another basis")


def test_a_slowed_unit_says_nothing_of_a_claim() -> None:
    assert verdicts(_point(limit=Limit(verdict="reduced speed", because="")), _unit(_capacity(9000.0))) == ()


def test_a_point_of_unknown_limit_may_meet_a_claim_but_never_falls_short() -> None:
    unknown = replace(_point(), limit=Limit(verdict="cannot tell", because=""))
    assert [verdicts(unknown, _unit(_capacity(c)))[0].words for c in (7000.0, 12000.0)] == ["meets", "cannot tell"]


def test_a_remainder_inside_the_uncertainty_is_never_called_a_shortfall() -> None:
    (verdict,) = verdicts(_point(), _unit(_capacity(9400.0)))
    assert verdict.measured < (1.0 - verdict.tolerance) * verdict.claimed < verdict.measured + verdict.measured_u95
    assert verdict.words == "cannot tell"
    assert Belief(100.0, 100.0, 0.0).probability_above(100.0) == 1.0


def test_claims_are_read_in_the_units_of_the_trade() -> None:
    assert claim_in_si(Claim(quantity="capacity", value=3.5, quantity_unit="kW")) == 3500.0
    assert claim_in_si(Claim(quantity="eer", value=3.2, quantity_unit="W/W")) == pytest.approx(10.9189, abs=1e-4)
    assert claim_in_si(Claim(quantity="air_flow", value=200, quantity_unit="cfm")) == pytest.approx(339.8, abs=0.1)
    with pytest.raises(InvalidSession, match="found “horses”, expected one of w, kw, btu/h"):
        claim_in_si(Claim(quantity="capacity", value=3.5, quantity_unit="horses"))


def test_an_unknown_rating_condition_is_refused_with_the_known_ones() -> None:
    assert named_condition("iso_t3").outdoor_temp_c == 46.0
    with pytest.raises(InvalidSession, match="us_room_95f"):
        named_condition("mars")


@pytest.mark.parametrize("kind", list(UnitKind))
def test_every_kind_of_unit_has_a_condition_a_map_and_a_tolerance(kind: UnitKind) -> None:
    assert default_condition(kind).outdoor_temp_c is not None
    assert rating_correction([_at_rating(kind=kind)], default_condition(kind)) is not None
    assert {tolerance_of(kind, quantity)[0] for quantity in ("capacity", "eer", "power")} <= {0.05, 0.10}
