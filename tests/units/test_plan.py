"""The plan page and its address for programs: typed or chosen, refused in words, printable, live."""

from __future__ import annotations

import json
from urllib.parse import urlencode

import pytest
from django.urls import reverse

from reduction.planning.plan import plan_test
from reduction.planning.plan_request import PlanRequest
from tests import builders
from units.models import CalibrationRecord

pytestmark = pytest.mark.django_db

TYPED = {
    "capacity": "8000", "capacity_unit": "Btu/h", "efficiency": "11", "efficiency_unit": "eer", "kind": "window",
    "compressor": "fixed_speed", "refrigerant": "R-32", "volume_m3": "34", "construction": "light",
    "other_loads_w": "60", "people": "0", "window_min": "60", "heater_kind": "fan_forced", "plug_percent": "1.5",
    "plug_w": "1", "thermometer_k": "0.3", "room_sensors": "2", "logs_supply_and_return": "on",
    "circuits-0-count": "3", "circuits-0-rating_a": "15", "circuits-0-volts": "120",
    "targets-0-room_temp_c": "26.7", "targets-0-outdoor_temp_c": "35",
}  # fmt: skip


def planned(client, *, htmx: str = "", **changes: str):
    headers = {"HX-Request": "true", "HX-Target": htmx} if htmx else {}
    return client.get(f"{reverse('plan')}?{urlencode(TYPED | changes)}", headers=headers)


def test_a_visitor_plans_with_typed_figures(visitor):
    page = planned(visitor)
    assert page.status_code == 200
    target = page.context["plan"].targets[0]
    assert f"{target.heat_w:,.0f}"[:3] in page.text
    assert "Local codes and licensed practice" in page.text
    assert page.context["asked"].unit.refrigerant == "R-32"


def test_an_empty_address_plans_what_the_form_begins_with(visitor):
    page = visitor.get(reverse("plan"))
    assert page.context["plan"].targets[0].condition.outdoor_temp_c == 35.0
    assert 'value="8000"' in page.text


def test_heat_and_unit_on_one_circuit_are_refused_with_the_limit_shown(visitor):
    """80 % of 15 A at 120 V is 1,440 W: NEC 210.23(A)(1), as `data/circuit_rules.csv` cites it."""
    page = planned(visitor, **{"circuits-0-count": "1"})
    assert page.context["plan"].targets[0].heat_w > 2000.0
    assert not page.context["plan"].targets[0].fits_circuits
    assert "These circuits do not carry it." in page.text
    assert "1,440 W" in page.text
    assert "Not to be run" in page.text, "the checklist says so too"


def test_temperatures_are_read_in_the_readers_scale(visitor):
    visitor.cookies["display"] = "F|W|auto"
    page = planned(visitor, **{"targets-0-room_temp_c": "80", "targets-0-outdoor_temp_c": "95"})
    condition = page.context["plan"].targets[0].condition
    assert (condition.room_temp_c, condition.outdoor_temp_c) == pytest.approx((26.667, 35.0), abs=0.001)


def test_several_conditions_are_put_in_the_order_of_fewest_hours(visitor):
    page = planned(visitor, ratings="us_room_95f", start_room_temp_c="22", **{"targets-0-room_temp_c": "24"})
    assert [t.condition.room_temp_c for t in page.context["plan"].targets] == [24.0, pytest.approx(26.67, abs=0.01)]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"capacity": ""}, "Give the capacity on the nameplate"),
        ({"capacity": "12"}, "a room air conditioner has 200 to"),
        ({"efficiency": "0.5"}, "outside 1 to 40"),
        ({"volume_m3": ""}, "Give the room&#x27;s volume"),
        ({"circuits-0-count": "", "circuits-0-rating_a": "", "circuits-0-volts": ""}, "at least one circuit"),
        ({"circuits-0-volts": ""}, "Give number, breaker and volts."),
        ({"targets-0-outdoor_temp_c": ""}, "needs the room&#x27;s and the outdoor temperature"),
        ({"targets-0-room_wet_bulb_c": "30"}, "never above the dry bulb"),
        ({"window_min": "nine"}, "Enter a number"),
        ({"stop_room_temp_c": "26"}, "The room is meant to be that warm"),
        ({"targets-TOTAL_FORMS": "x"}, "ManagementForm"),
    ],
)
def test_what_cannot_be_planned_is_said_at_its_field(visitor, changes, sentence):
    page = planned(visitor, **changes)
    assert page.status_code == 422
    assert page.context["plan"] is None
    assert sentence in page.text


def test_the_page_follows_typing_and_works_out_the_improvements_afterwards(visitor):
    part = planned(visitor, htmx="plan")
    assert "<html" not in part.text
    assert 'hx-trigger="load"' in part.text
    assert part.context["plan"].targets[0].improvements == ()
    rest = planned(visitor, htmx="buys")
    assert "Characterise the room" in rest.text
    assert "Checklist" not in rest.text
    assert "HX-Request" in part.headers["Vary"]


def test_a_fault_while_typing_is_said_in_the_part(visitor):
    part = planned(visitor, htmx="plan", capacity="12")
    assert part.status_code == 200, "htmx swaps no error"
    assert "a room air conditioner has" in part.text


def test_stop_limits_are_printed_and_missing_ones_left_to_fill_in(visitor):
    page = planned(visitor, stop_room_temp_c="35", stop_silence_min="5")
    assert "room above 35.0" in page.text
    assert "minutes without data: 5 min" in page.text
    assert "a plug above ________" in page.text


def test_cautions_stand_at_the_step_they_belong_to(visitor):
    text = planned(visitor).text
    heaters, unit = text.index("<h3>Heaters</h3>"), text.index("<h3>The unit</h3>")
    assert heaters < text.index("One heater to a circuit, straight into the wall outlet") < unit
    assert text.index("A flammable refrigerant (A2L, A3)") > unit
    assert "A flammable refrigerant (A2L" not in planned(visitor, refrigerant="R-410A").text


def test_a_chosen_unit_room_and_instrument_take_the_place_of_what_is_typed(tester, bench):
    unit = builders.a_unit(bench=bench, refrigerant="R-290", claims={"capacity": (12000.0, "Btu/h", 3516.9)})
    room = builders.a_room(bench=bench, name="Loft")
    thermometer = builders.an_instrument(bench=bench, quantity="temperature", offset_limit=0.5, gain_limit=0.0)
    CalibrationRecord.objects.create(
        instrument=thermometer, valid_from=builders.NOON.date(), how="ice", offset_correction_u=0.05
    )
    chosen = {"unit": str(unit.pk), "room": str(room.pk), "thermometer": str(thermometer.pk)}
    page = planned(tester, **chosen)
    asked = page.context["asked"]
    assert asked.unit.claims[0].value == 12000.0
    assert asked.room.surfaces[0].ua_w_per_k == 14.0
    assert asked.equipment.thermometer.offset_correction_u == 0.05
    plain = planned(tester, unit=str(unit.pk), room=str(room.pk), thermometer_k="0.5")
    assert page.context["plan"].targets[0].capacity_u95_w < plain.context["plan"].targets[0].capacity_u95_w


def test_nothing_of_another_bench_can_be_chosen(stranger, bench):
    unit, other = builders.a_unit(bench=bench), builders.a_unit(bench=stranger.person.memberships.get().bench)
    page = planned(stranger, unit=str(unit.pk))
    assert page.status_code == 422
    assert str(other) in page.text
    assert str(unit) not in page.text


REQUEST = {
    "unit": {
        "model": "Invented W8", "kind": "window",
        "claims": [{"quantity": "capacity", "value": 8000, "quantity_unit": "Btu/h"}],
    },
    "room": {"volume_m3": 34.0},
    "targets": [{"room_temp_c": 26.7, "outdoor_temp_c": 35.0}],
}  # fmt: skip


def test_a_program_gets_the_plan_that_the_command_line_gives(reader):
    answer = reader.post(reverse("api-plan"), json.dumps(REQUEST), content_type="application/json")
    assert answer.status_code == 200
    assert answer.json() == plan_test(PlanRequest.model_validate(REQUEST)).model_dump(mode="json")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"window_s": 1e12}, "window_s"),
        ({"room": {"volume_m3": -1}}, "volume_m3"),
        ({"room": {"volume_m3": 34.0, "c_eff_j_per_k": 1e15, "c_eff_u95_j_per_k": 1e3}}, "h to settle"),
        ({"unit": {"model": "x", "kind": "window"}}, "no claimed capacity"),
    ],
)
def test_a_program_is_told_what_cannot_be_planned(reader, changes, sentence):
    asked = REQUEST | {"start_room_temp_c": 20.0} | changes
    answer = reader.post(reverse("api-plan"), json.dumps(asked), content_type="application/json")
    assert answer.status_code == 422
    assert sentence in answer.json()["errors"][0]["sentence"]
