"""The mapping of an honest tester's notes to our document: what counts is never dropped."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from reduction.session import HeaterKind, Role, SampleKind, Session, UnitKind
from tests.practice_mapping import session_of

CASE: dict[str, Any] = json.loads(
    (Path(__file__).resolve().parents[1] / "fixtures" / "independent" / "p1" / "case.json").read_text(encoding="utf-8")
)


def mapped(**changes: Any) -> Session:
    return session_of(CASE | changes)


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("portable, single hose", UnitKind.SINGLE_DUCT_PORTABLE),
        ("portable_dual_duct", UnitKind.DUAL_DUCT_PORTABLE),
        ("mini-split", UnitKind.MINI_SPLIT),
        ("through the wall", UnitKind.THROUGH_WALL),
        ("window", UnitKind.WINDOW),
    ],
)
def test_the_kind_of_unit_is_read_from_words(words: str, kind: UnitKind) -> None:
    assert mapped(unit=CASE["unit"] | {"kind": words}).unit.kind is kind


def test_a_room_never_characterised_stays_without_surfaces() -> None:
    room = mapped(room=CASE["room"] | {"characterised": None}).room
    assert room.surfaces == ()
    assert room.c_eff_j_per_k is None


def test_more_neighbours_than_one_keep_their_names() -> None:
    known = CASE["room"]["characterised"] | {"ua_attic_w_per_k": 4.0, "u95_ua_attic": 1.0}
    attic = {"file": "files/thermo.csv", "column": "Hall (°F)", "role": "adjacent_temp_attic", "unit": "°F"}
    session = mapped(room=CASE["room"] | {"characterised": known}, channels=[*CASE["channels"][:-5], attic])
    assert [s.to for s in session.room.surfaces] == ["outdoor", "adjacent", "attic"]
    assert session.channels[-1].role is Role.ADJACENT_TEMP
    assert session.channels[-1].place == "attic"


@pytest.mark.parametrize(
    ("role", "ours"),
    [
        ("ac_power", Role.UNIT_POWER),
        ("heater_2_power", Role.HEATER_CONSTANT_POWER),
        ("fan_power", Role.OTHER_POWER),
        ("house_total_power", Role.IGNORED),
        ("makeup_temp", Role.MAKEUP_AIR_TEMP),
        ("humidifier_mass", Role.WATER_SUPPLY_MASS),
        ("wind_speed", Role.IGNORED),
    ],
)
def test_roles_are_found_by_their_words(role: str, ours: Role) -> None:
    channel = {"file": "files/power.csv", "column": "AC (W)", "role": role, "unit": "W"}
    assert mapped(channels=[channel]).channels[0].role is ours


def test_an_event_log_holds_its_power_and_hides_what_stays_under_its_threshold() -> None:
    plug = CASE["instruments"][0] | {"report": "on_change", "threshold": 3.0, "heartbeat_s": 600}
    session = mapped(instruments=[plug, *CASE["instruments"][1:]])
    assert session.instruments[0].resolution == 6.0
    assert session.channels[0].kind is SampleKind.HELD
    assert session.channels[0].stale_after_s == 1500.0


def test_limits_of_registers_and_scales_come_in_si() -> None:
    register = {"id": "kWh", "quantity": "energy", "resolution": 0.01, "gain_lim": 0.01}
    scale = {"id": "scale", "quantity": "mass", "offset_lim": 2.0, "resolution": 1.0}
    found = mapped(instruments=[register, scale], channels=[]).instruments
    assert found[0].resolution == 36_000.0
    assert (found[1].offset_limit, found[1].resolution) == (0.002, 0.001)


def test_people_are_read_from_fields_and_from_words() -> None:
    field = mapped(people=[{"count": 2, "sensible_w": 80.0, "u95_w": 20.0, "from_utc": "2024-07-25T17:00:00Z"}]).people
    words = mapped(notes={"people": "one person (about 75 W) sat in the room until 12:30"}).people
    assert (field[0].count, field[0].sensible_w_each, field[0].u95_w_each) == (2, 80.0, 20.0)
    assert field[0].start_utc is not None
    assert (words[0].count, words[0].sensible_w_each) == (1, 75.0)
    assert words[0].end_utc is not None
    assert words[0].end_utc.hour == 12  # in the session's zone
    assert mapped(notes={"people": "no person in the room"}).people == ()


def test_sun_is_read_from_fields_and_from_words() -> None:
    field = mapped(solar={"power_w": 90.0, "u95_w": 40.0}).solar
    words = mapped(notes={"solar": "sun through the blind, perhaps 120 W, from 11:00 to 12:00"}).solar
    assert (field[0].power_w, field[0].u95_w) == (90.0, 40.0)
    assert (words[0].power_w, words[0].u95_w) == (120.0, 60.0)
    assert words[0].start_utc is not None


def test_water_is_read_from_the_notes() -> None:
    said = "an evaporative humidifier runs on water of 18 °C; the condensate drains outdoors through a hose"
    water = mapped(notes={"moisture": said}).moisture
    assert (water.humidifier, water.water_supply_temp_c, water.condensate_leaves_room) == ("evaporative", 18.0, True)
    assert mapped(notes={"moisture": "a slinger throws water on the condenser"}).moisture.condensate_on_condenser
    assert mapped(notes={"x": "a dehumidifier stood idle"}).moisture.humidifier == "none"


def test_readings_of_a_bucket_make_a_weighing() -> None:
    rows = [{"what": "bucket", "mass_g": g, "time_utc": f"2024-07-25T{h}:00:00Z"} for g, h in ((400, 17), (1500, 19))]
    (weighing,) = mapped(weighings=rows).moisture.weighings
    assert weighing.mass_kg == pytest.approx(1.1)
    assert weighing.what == "condensate"


def test_a_door_is_open_until_it_is_shut() -> None:
    rows = [
        {"time_utc": "2024-07-25T17:40:00Z", "what": "door open"},
        {"time_utc": "2024-07-25T17:48:00Z", "what": "door shut"},
    ]
    (event,) = mapped(events=rows).events
    assert event.kind == "door"
    assert event.end_utc is not None
    assert (event.end_utc - event.time_utc).total_seconds() == 480.0


def test_the_kind_of_heater_is_read_from_the_notes() -> None:
    assert mapped(notes={"heaters": "two glowing quartz heaters"}).heater_kind is HeaterKind.RADIANT
    assert mapped(notes={"heaters": "fan heaters"}).heater_kind is HeaterKind.FAN_FORCED
    assert mapped().heater_kind is HeaterKind.UNKNOWN


def test_a_clock_the_tester_knows_to_be_off_is_corrected() -> None:
    files = [{"path": "files/thermo.csv", "clock_offset_s": -94.0}, {"path": "files/power.csv", "time_zone": "UTC"}]
    first, second = mapped(files=files).files
    assert first.clock.offset_s == -94.0
    assert second.profile.time_zone == "UTC"
