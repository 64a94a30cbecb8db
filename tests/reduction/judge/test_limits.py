"""What limited the unit. Trade facts are common practice, no source; the maps are published ones."""

from __future__ import annotations

from typing import Any

import pytest

from reduction.judge.claims import claimed_figures
from reduction.judge.limits import OtherWindow, WindowFacts, full_speed_power_w, what_limited
from reduction.session import Claim, Compressor, Limit, UnitKind, UnitUnderTest

SMALL_UNIT = UnitUnderTest(
    model="Invented W9",
    kind=UnitKind.WINDOW,
    compressor=Compressor.VARIABLE_SPEED,
    claims=(
        Claim(quantity="capacity", value=9000, quantity_unit="Btu/h"),
        Claim(quantity="eer", value=9.8, quantity_unit="Btu/(W·h)"),
    ),
)
UNCLAIMED = UnitUnderTest(model="Invented N0", kind=UnitKind.WINDOW, compressor=Compressor.VARIABLE_SPEED)
COOL_ROOM = {
    "room_temp_c": 22.0,
    "room_wet_bulb_c": 11.7,
    "supply_temp_c": 6.5,
    "return_temp_c": 22.0,
    "split_u_c": 0.1,
}


def _facts(**changes: Any) -> WindowFacts:
    facts: dict[str, Any] = {
        "kind": UnitKind.WINDOW,
        "compressor": Compressor.VARIABLE_SPEED,
        "bypass_factor": (0.05, 0.30),
        "power_w": 600.0,
        "power_u_w": 3.0,
        "capacity_w": 1700.0,
        "capacity_u_w": 20.0,
        "outdoor_temp_c": 33.0,
        **COOL_ROOM,
    }
    return WindowFacts(**{**facts, **changes})


def _limit(unit: UnitUnderTest = SMALL_UNIT, **changes: Any) -> Limit:
    return what_limited(_facts(**changes), claimed_figures(unit))


@pytest.mark.parametrize(("outdoor_temp_c", "power_w"), [(26.0, 555.0), (30.0, 620.0), (35.0, 705.0)])
def test_a_small_unit_in_a_cool_room_is_held_back_by_its_coil_not_by_its_compressor(
    outdoor_temp_c: float, power_w: float
) -> None:
    # Common practice, no source: 22 °C room, full fan, supply 6–7 °C, 555 W at 26 °C outdoors and 705 W at 35 °C.
    limit = _limit(outdoor_temp_c=outdoor_temp_c, power_w=power_w)
    assert limit.verdict == "coil near freezing"
    assert "6.5 °C" in limit.because


def test_capacity_that_does_not_fall_towards_hot_outdoors_tells_a_throttled_unit_without_any_claim() -> None:
    # Common practice, no source: the same unit, 26 and 35 °C outdoors, equal capacity while power rises.
    hot = OtherWindow(power_w=700.0, capacity_w=1700.0, capacity_u_w=20.0, room_temp_c=22.0, outdoor_temp_c=35.0)
    unknown = _limit(UNCLAIMED, outdoor_temp_c=26.0, power_w=555.0)
    told = _limit(UNCLAIMED, outdoor_temp_c=26.0, power_w=555.0, others=(hot,))
    assert unknown.verdict == "cannot tell"
    assert unknown.because.startswith("No claimed power")
    assert told.verdict == "coil near freezing"
    assert told.because.startswith("Capacity did not fall from 26 to 35 °C")


def test_a_claim_and_a_warm_room_show_full_speed() -> None:
    limit = _limit(
        room_temp_c=26.4,
        return_temp_c=26.4,
        room_wet_bulb_c=17.7,
        supply_temp_c=8.5,
        power_w=905.0,
        outdoor_temp_c=30.1,
    )
    assert limit.verdict == "at full speed"


def test_a_fixed_speed_unit_that_runs_is_at_full_speed_even_with_a_cold_coil() -> None:
    limit = _limit(compressor=Compressor.FIXED_SPEED, power_w=668.0, room_temp_c=23.0, return_temp_c=23.0)
    assert limit.verdict == "at full speed"


def test_a_higher_power_seen_against_no_more_lift_shows_reduced_speed() -> None:
    other = OtherWindow(power_w=900.0, capacity_w=2500.0, capacity_u_w=25.0, room_temp_c=22.0, outdoor_temp_c=33.0)
    limit = _limit(UNCLAIMED, power_w=300.0, supply_temp_c=14.0, others=(other,))
    assert limit.verdict == "reduced speed"
    assert "900 W" in limit.because


def test_a_higher_power_against_more_lift_proves_nothing() -> None:
    other = OtherWindow(power_w=900.0, capacity_w=1600.0, capacity_u_w=25.0, room_temp_c=22.0, outdoor_temp_c=40.0)
    assert _limit(UNCLAIMED, power_w=600.0, supply_temp_c=14.0, others=(other,)).verdict == "cannot tell"


def test_without_a_supply_temperature_a_throttled_unit_is_not_explained() -> None:
    limit = _limit(supply_temp_c=None)
    assert limit.verdict == "cannot tell"
    assert "without a supply temperature" in limit.because


@pytest.mark.parametrize(
    ("changes", "verdict"),
    [
        ({"power_w": 5.0}, "unit off"),
        ({"unit_cycles": 4.0, "on_share": 0.6}, "cycling"),
        ({"unsteady_because": "the room warmed by 1.2 K/h"}, "not steady"),
    ],
)
def test_a_unit_that_is_off_cycles_or_drifts_is_called_so_first(changes: dict[str, Any], verdict: str) -> None:
    assert _limit(**changes).verdict == verdict


def test_a_thermostat_that_is_satisfied_is_named() -> None:
    limit = _limit(power_w=150.0, supply_temp_c=16.0, set_room_temp_c=22.0)
    assert limit.verdict == "reduced speed"
    assert "set 22.0 °C" in limit.because


def test_a_point_near_freezing_is_projected_to_an_interval_from_measured_to_the_air_side_ceiling() -> None:
    limit = _limit(capacity_w=1700.0)
    assert limit.projection_w == pytest.approx((1700.0, 1700.0 * (26.6667 - 6.5) / (22.0 - 6.5)))


def test_a_point_at_full_speed_narrows_the_projection() -> None:
    limit = what_limited(_facts(), claimed_figures(SMALL_UNIT), full_speed_w=(1900.0, 2000.0))
    assert limit.projection_w == pytest.approx((1700.0, 2000.0))


def test_full_speed_power_spans_the_published_maps_and_meets_the_claim_at_its_condition() -> None:
    facts = _facts(room_temp_c=26.6667, room_wet_bulb_c=19.4444, outdoor_temp_c=35.0, supply_temp_c=12.0)
    low, middle, high = full_speed_power_w(facts, claimed_figures(SMALL_UNIT))
    assert low == pytest.approx(918.4, abs=0.1)
    assert middle == pytest.approx(high) == pytest.approx(low)


def test_wetter_rooms_have_a_coil_that_condenses_and_the_interval_is_widened_by_the_sensors() -> None:
    narrow, wide = _facts(split_u_c=0.0).coil, _facts(split_u_c=0.3).coil
    assert wide.low_c == pytest.approx(narrow.low_c - 0.6)
    assert wide.high_c == pytest.approx(narrow.high_c + 0.6)


def test_a_unit_that_its_set_point_slowed_down_is_not_said_to_freeze() -> None:
    # Supply at 8 °C from 22 °C air: only the largest bypass factor of the band would put the coil near freezing.
    limit = _limit(power_w=450.0, supply_temp_c=8.0, set_room_temp_c=22.0)
    assert limit.coil_temp_c is not None
    assert limit.coil_temp_c[0] < 2.0
    assert limit.verdict == "reduced speed"


def test_the_same_coil_in_a_room_far_above_the_set_point_is_what_holds_the_unit_back() -> None:
    assert _limit(power_w=450.0, supply_temp_c=7.6, set_room_temp_c=18.0).verdict == "coil near freezing"
    assert _limit(power_w=450.0, supply_temp_c=7.6, set_room_temp_c=22.0).verdict == "reduced speed"


@pytest.mark.parametrize(("power_w", "verdict"), [(700.0, "at full speed"), (560.0, "reduced speed")])
def test_a_mini_split_in_a_dry_room_may_draw_less_than_the_maps_of_wet_coils_say(power_w: float, verdict: str) -> None:
    # A tenth for the claim (its market's tolerance) and a twentieth for the dry coil: common practice, no source.
    split = SMALL_UNIT.model_copy(update={"kind": UnitKind.MINI_SPLIT})
    changes = {"kind": UnitKind.MINI_SPLIT, "supply_temp_c": 13.0, "outdoor_temp_c": 30.0, "room_temp_c": 24.0}
    facts = _facts(**changes, return_temp_c=24.0)
    low, _, _ = full_speed_power_w(facts, claimed_figures(split))
    assert 700.0 < low < 830.0
    assert _limit(split, **changes, return_temp_c=24.0, power_w=power_w).verdict == verdict


def test_a_supply_probe_that_reads_warmer_than_the_return_tells_nothing_of_the_coil() -> None:
    assert _limit(supply_temp_c=25.0).verdict == "cannot tell"
