"""A test before it is run."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from reduction.__main__ import main
from reduction.documents.words import HeaterKind
from reduction.errors import InvalidSession
from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.ground.rounding import with_unit
from reduction.planning.circuits import Circuit
from reduction.planning.forecast import Run, forecast
from reduction.planning.plan import plan_test
from reduction.planning.plan_report import plan_report
from reduction.planning.plan_request import Equipment, Plan, PlanRequest
from reduction.session import Claim, Compressor, Condition, Room, Surface, UnitKind, UnitUnderTest

UNIT = UnitUnderTest(
    model="Invented W8",
    kind=UnitKind.WINDOW,
    compressor=Compressor.VARIABLE_SPEED,
    refrigerant="R-410A",
    claims=(
        Claim(quantity="capacity", value=8000, quantity_unit="Btu/h"),
        Claim(quantity="eer", value=11.4, quantity_unit="Btu/(W·h)"),
        Claim(quantity="air_flow", value=200, quantity_unit="cfm"),
    ),
)
KNOWN_ROOM = Room(
    volume_m3=30.0,
    surfaces=(
        Surface(to="outdoor", ua_w_per_k=12.0, u95_w_per_k=2.0),
        Surface(to="hall", ua_w_per_k=20.0, u95_w_per_k=3.0),
    ),
    c_eff_j_per_k=4e5,
    c_eff_u95_j_per_k=8e4,
)
RATING = Condition(room_temp_c=26.7, room_wet_bulb_c=19.4, outdoor_temp_c=35.0)
COOL = Condition(room_temp_c=22.0, outdoor_temp_c=30.0)
THREE_CIRCUITS = tuple(Circuit(name=name) for name in ("kitchen", "bedroom", "hall"))


def _plan(*, improvements: bool = False, **changes: Any) -> Plan:
    request: dict[str, Any] = {
        "unit": UNIT,
        "room": KNOWN_ROOM,
        "targets": (RATING,),
        "circuits": THREE_CIRCUITS,
        "other_loads_w": 0.0,
    }
    return plan_test(PlanRequest(**{**request, **changes}), improvements=improvements)


def _run(**changes: Any) -> Run:
    run: dict[str, Any] = {
        "unit": UNIT, "room": KNOWN_ROOM, "equipment": Equipment(), "room_temp_c": 24.0, "start_temp_c": 24.0,
        "outdoor_temp_c": 32.0, "adjacent_temp_c": 24.0, "capacity_w": 2000.0, "power_w": 650.0, "other_loads_w": 60.0,
        "soak_s": 3600.0, "window_s": 3600.0,
    }  # fmt: skip
    return Run(**{**run, **changes})


def test_a_small_unit_and_its_heat_need_three_ordinary_circuits() -> None:
    # Common practice, no source: 8,000 Btu/h is 2.3 kW of heat and 0.7 kW of unit, three circuits of 15 A.
    (target,) = _plan().targets
    assert target.circuits_needed == 3
    assert target.fits_circuits
    assert sorted(len(use.loads) for use in target.circuits) == [1, 1, 1]
    assert max(use.current_a for use in target.circuits) <= 12.0


def test_one_circuit_for_all_is_refused_with_its_limit() -> None:
    (target,) = _plan(circuits=(Circuit(),)).targets
    assert not target.fits_circuits
    assert target.circuits_because.startswith("Refused")
    assert "1,440 W" in target.circuits_because


def test_heat_is_shared_so_that_the_switched_heater_has_room_both_ways() -> None:
    (target,) = _plan().targets
    expected = target.capacity_w - target.envelope_gain_w
    assert 0.6 <= target.constant_w / expected <= 0.8
    assert 0.3 <= target.switched_duty <= 0.7
    assert target.heat_w >= 1.15 * expected


def test_the_envelope_people_and_loads_spare_heaters() -> None:
    alone, shared = _plan().targets[0], _plan(people=2, other_loads_w=100.0).targets[0]
    spared = alone.constant_w + alone.switched_duty * alone.switched_w
    spared -= shared.constant_w + shared.switched_duty * shared.switched_w
    assert spared == pytest.approx(330.0, abs=1.0)


def test_a_cool_room_cannot_show_the_rated_capacity_of_a_unit_that_throttles() -> None:
    # Common practice, no source: in a 22 °C room a small unit's coil comes near freezing at full fan.
    (target,) = _plan(targets=(COOL,)).targets
    assert target.freezing.near_freezing
    assert not target.freezing.can_show_rated_capacity
    assert target.capacity_w == pytest.approx(target.freezing.most_w)


def test_the_rating_room_can_show_it() -> None:
    (target,) = _plan().targets
    assert target.freezing.can_show_rated_capacity
    assert target.water_kg_per_h > 0.5


def test_a_dry_target_needs_no_water() -> None:
    assert _plan(targets=(COOL,)).targets[0].water_kg_per_h == 0.0


def test_a_fixed_speed_unit_in_a_cool_room_is_warned_of_ice() -> None:
    fixed = UNIT.model_copy(update={"compressor": Compressor.FIXED_SPEED})
    assert (
        "may ice"
        in _plan(unit=fixed, targets=(Condition(room_temp_c=20.0, outdoor_temp_c=26.0),)).targets[0].freezing.because
    )


def test_conditions_are_run_in_the_order_of_least_change() -> None:
    warm, middle = (Condition(room_temp_c=t, outdoor_temp_c=33.0) for t in (28.0, 25.0))
    plan = _plan(targets=(warm, COOL, middle), start_room_temp_c=21.0)
    assert [target.condition.room_temp_c for target in plan.targets] == [22.0, 25.0, 28.0]


def test_a_heavier_room_takes_longer() -> None:
    light, heavy = (
        _plan(room=Room(volume_m3=30.0, construction=kind), targets=(COOL,), start_room_temp_c=28.0).targets[0]
        for kind in ("very_light", "heavy")
    )
    assert heavy.time_to_steady_s > light.time_to_steady_s
    assert heavy.mass_release_w > light.mass_release_w


def test_a_room_that_starts_far_off_takes_longer_and_its_walls_still_give() -> None:
    near, far = (_plan(targets=(COOL,), start_room_temp_c=t).targets[0] for t in (23.0, 28.0))
    assert far.time_to_steady_s > near.time_to_steady_s > 3600.0
    assert far.mass_release_w > near.mass_release_w > 0.0


def test_between_two_conditions_the_unit_goes_on_so_that_the_second_costs_fewer_hours() -> None:
    warm = Condition(room_temp_c=26.0, outdoor_temp_c=30.0)
    both, alone = _plan(targets=(COOL, warm), start_room_temp_c=22.0), _plan(targets=(warm,), start_room_temp_c=22.0)
    second = both.targets[1]
    assert second.time_to_steady_s == alone.targets[0].time_to_steady_s
    assert second.capacity_u95_w < alone.targets[0].capacity_u95_w, "the log of the first says what the walls do"
    assert both.hours == pytest.approx(sum(t.time_to_steady_s + t.window_s for t in both.targets) / 3600.0)


def test_a_day_that_warms_up_costs_accuracy_in_a_leaky_room() -> None:
    leaky = Room(volume_m3=34.0)
    still, warming = (_plan(room=leaky, outdoor_drift_k_per_h=drift).targets[0] for drift in (0.0, 3.0))
    assert warming.capacity_u95_w > still.capacity_u95_w


def test_the_forecast_worsens_after_a_change_of_room_temperature_and_recovers_with_soaking() -> None:
    soaked, changed = forecast(_run()), forecast(_run(start_temp_c=28.0))
    longer = forecast(_run(start_temp_c=28.0, soak_s=8 * 3600.0))
    assert changed.capacity_u95_w > 1.5 * soaked.capacity_u95_w
    assert longer.capacity_u95_w < changed.capacity_u95_w


def test_better_meters_and_a_known_room_are_worth_what_the_engine_says() -> None:
    (target,) = _plan(improvements=True, room=Room(volume_m3=30.0)).targets
    best = target.improvements[0]
    assert best.what.startswith("Characterise the room")
    assert best.capacity_u95_w < 0.8 * target.capacity_u95_w
    assert best.saves_w == pytest.approx(target.capacity_u95_w - best.capacity_u95_w)
    assert [line.capacity_u95_w for line in target.improvements] == sorted(
        line.capacity_u95_w for line in target.improvements
    )


def test_the_budget_of_a_plan_is_all_of_its_variance() -> None:
    (target,) = _plan().targets
    assert sum(line.share for line in target.budget) == pytest.approx(1.0)
    assert 2.0 * sum(line.u_w**2 for line in target.budget) ** 0.5 == pytest.approx(target.capacity_u95_w, rel=0.1)


def test_a_wanted_uncertainty_is_reached_by_the_shortest_window_or_said_not_to_be() -> None:
    easy, hard = (_plan(wanted_u95_w=wanted).targets[0] for wanted in (400.0, 5.0))
    assert easy.wanted_reached
    assert easy.window_s == 1800.0
    assert not hard.wanted_reached


def test_cautions_stand_at_the_step_where_they_matter() -> None:
    flammable = UNIT.model_copy(update={"refrigerant": "R-290"})
    plain, risky = _plan(targets=(COOL,)), _plan(unit=flammable, equipment=Equipment(heater_kind=HeaterKind.RADIANT))
    assert {each.step for each in plain.cautions} >= {"before", "heaters", "unit", "outdoor", "run", "after"}
    assert not any("flammable" in each.caution for each in plain.cautions)
    assert any("flammable" in each.caution for each in risky.cautions)
    assert any("Radiant heaters" in each.caution for each in risky.cautions)
    assert any(each.step == "water" for each in risky.cautions)
    assert "licensed practice" in plain.cautions[0].caution


def test_a_plan_without_a_claimed_capacity_is_refused() -> None:
    with pytest.raises(InvalidSession, match="found “no claimed capacity”"):
        _plan(unit=UnitUnderTest(model="x", kind=UnitKind.WINDOW))


def test_a_target_without_temperatures_is_refused() -> None:
    with pytest.raises(InvalidSession, match="a room and an outdoor temperature"):
        _plan(targets=(Condition(room_temp_c=25.0),))


def test_the_printed_plan_is_a_checklist_with_every_figure_in_units() -> None:
    plan = _plan(improvements=True)
    text, first = plan_report(plan), plan.targets[0]
    assert "Capacity to expect" in text
    assert text.count("[ ]") >= 10
    assert "kg/h to the room, weighed" in text
    assert f"EER ± {first.windows[-1].eer_u95:.2f}" in text, "of every length of window"
    eer = with_unit(first.capacity_w / first.power_w * BTU_PER_H_PER_W, first.eer_u95, "Btu/(W·h)")
    assert re.search(rf"EER to expect +{re.escape(eer)}", text)
    assert f"What would help     {first.improvements[0].what}" in text
    assert max(map(len, text.splitlines())) <= 110


@pytest.mark.parametrize(("wanted_w", "said"), [(2000.0, "Reaches what is wanted"), (1.0, "wanted ± is not reached")])
def test_the_printed_plan_says_whether_the_wanted_uncertainty_is_reached(wanted_w: float, said: str) -> None:
    assert said in plan_report(_plan(wanted_u95_w=wanted_w))


def test_the_command_line_plans_and_names_what_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good, bad = tmp_path / "PLAN.json", tmp_path / "BAD.json"
    good.write_text(
        PlanRequest(unit=UNIT, room=KNOWN_ROOM, circuits=THREE_CIRCUITS).model_dump_json(), encoding="utf-8"
    )
    bad.write_text(json.dumps({"unit": {"model": "x", "kind": "window"}}), encoding="utf-8")
    assert main(["plan", str(good), "--json"]) == 0
    assert Plan.model_validate_json(capsys.readouterr().out).targets
    assert main(["plan", str(bad)]) == 2
    assert "column “room”: found “nothing”" in capsys.readouterr().err
    assert main(["plan", str(tmp_path / "none.json")]) == 2
    assert "a request for a plan in JSON" in capsys.readouterr().err
