"""A season of the reader's own, from a unit's points."""

from __future__ import annotations

import pytest
from django.http import QueryDict
from django.urls import reverse

from reduction import session as doc
from tests import builders
from units.compare.points import public_detail, units_with_points
from units.compare.season import Choice, season_of
from units.quantities import Display

pytestmark = pytest.mark.django_db


@pytest.fixture
def row(bench, reader):
    unit = builders.a_unit(bench=bench)
    builders.a_point(unit=unit, capacity_w=2300.0, power_w=700.0, capacity_kind="total")
    return units_with_points(reader.person, [unit.pk])[0]


def test_the_cost_is_the_energy_times_the_price_within_what_was_not_measured(row):
    season = season_of(row, Choice(price=0.25))
    assert season.cost.total == pytest.approx(0.25 * season.season.energy_kwh)
    low, high = season.cost_interval
    assert low < season.cost.total < high


def test_the_energy_is_near_load_over_efficiency_where_the_unit_is_barely_loaded(row):
    """By hand: load over COP; what cycling and milder hours change is less than half."""
    choice = Choice(load_w=1000.0)
    season = season_of(row, choice)
    by_hand_kwh = season.season.cooling_kwh / (2300.0 / 700.0)
    assert season.season.energy_kwh == pytest.approx(by_hand_kwh, rel=0.5)
    assert season.season.unmet_kwh == pytest.approx(0.0, abs=1e-6)


def test_twice_the_hours_cost_twice_as_much(row):
    once, twice = (season_of(row, Choice(hours=hours)).cost.total for hours in (600.0, 1200.0))
    assert twice == pytest.approx(2 * once)


def test_a_load_beyond_the_unit_is_said_and_not_carried(row):
    assert season_of(row, Choice(load_w=6000.0)).season.unmet_kwh > 100


def test_a_unit_without_a_point_at_a_known_speed_has_no_season(bench, reader):
    unit = builders.a_unit(bench=bench)
    builders.a_point(unit=unit, limit=doc.Limit(verdict="cannot tell", because="No power log."))
    assert season_of(units_with_points(reader.person, [unit.pk])[0], Choice()) is None


@pytest.mark.parametrize("query", ["hours=x&price=nan&load=-&climate=moon", "hours=1e400", "load=inf", ""])
def test_an_odd_wish_stays_at_the_example(query):
    assert Choice.from_query(QueryDict(query)) == Choice()


def test_the_load_is_read_in_the_readers_unit():
    choice = Choice.from_query(QueryDict("load=6824.284"), Display(power="Btu/h"))
    assert choice.load_w == pytest.approx(2000.0)  # 1 W = 3.412142 Btu/h


def test_the_page_works_the_season_out_for_what_the_reader_says(row, reader):
    page = reader.get(reverse("unit", args=[row.unit.pk]) + "?climate=iso_16358&price=0.5&hours=800&load=1500").text
    assert "Cost of the season" in page
    assert 'value="0.5"' in page
    assert "Not a SEER or CEER" in page
    assert "Cost of the season" not in reader.get(reverse("unit", args=[row.unit.pk])).text


def test_a_unit_page_gives_each_published_procedure_its_own_name_and_unit(reader, row):
    text = reader.get(reverse("unit", args=[row.unit.pk])).text
    assert "CSPF (ISO 16358-1)" in text
    assert "CEER" in text
    assert "none is the EER of a point" in text


def asked(reader, row, **fields):
    given = {"price_per_kwh": 0.25} | fields
    return reader.post(reverse("api-unit-season", args=[row.unit.pk]), given, content_type="application/json")


def test_a_program_gets_the_season_that_the_engine_gives(reader, row):
    answer = asked(reader, row, full_load_w=2000.0).json()
    assert answer["cost"] == pytest.approx(0.25 * answer["energy_kwh"])
    assert answer["cost_low"] < answer["cost"] < answer["cost_high"]
    assert answer["efficiency"]["quantity_unit"] == "Btu/(W·h)"
    assert [figure["name"] for figure in answer["published"]] == ["CEER", "CSPF (ISO 16358-1)"]


def test_a_program_may_send_its_own_climate_and_hours_of_standby(reader, row):
    mild, hot = (asked(reader, row, table=f"temp_c,hours\n{t},400\n").json() for t in (24, 34))
    assert mild["energy_kwh"] < hot["energy_kwh"]
    waiting = asked(reader, row, table="temp_c,hours\n24,400\n", standby_hours=5000.0).json()
    assert waiting["standby_kwh"] > 0.0


@pytest.mark.parametrize(
    ("fields", "status", "words"),
    [
        ({"table": "temp_c,hours\n25,many\n"}, 422, "expected hours from 0 to 8784"),
        ({"no_load_c": 36.0}, 400, "It must be warmer than where cooling begins."),
        ({"climate": "moon"}, 400, "moon"),
    ],
)
def test_a_program_is_told_what_it_cannot_have(reader, row, fields, status, words):
    answer = asked(reader, row, **fields)
    assert answer.status_code == status
    assert words in answer.text


def test_a_program_is_told_where_no_point_gives_a_season(bench, reader):
    unit = builders.a_unit(bench=bench)
    builders.a_point(unit=unit, limit=doc.Limit(verdict="cannot tell", because="No power log."))
    (bare,) = units_with_points(reader.person, [unit.pk])
    answer = asked(reader, bare)
    assert answer.status_code == 422
    assert "no point at full or reduced speed" in answer.text


DUCTED = doc.DuctedPoint(
    capacity_w=2800.0, capacity_u_w=50.0, added_w={"exhaust air flow": 20.0}, duct_heat_w=100.0, drawn_in_w=400.0,
    latent_w=0.0, power_w=900.0, inlet_temp_c=26.7, inlet_temp_u_c=0.1, exhaust_temp_c=52.0, room_temp_c=26.7,
    room_ratio=0.011, pressure_pa=101325.0, because="Net effect and what its ducts cost.",
    stated=doc.Ducts(exhaust_flow_m3_per_h=400.0, exhaust_area_m2=0.56, exhaust_surface_temp_c=42.0),
)  # fmt: skip


def test_a_portables_adjusted_capacity_stands_beside_its_claim_on_its_page(bench, reader):
    unit = builders.a_unit(bench=bench, kind="single_duct_portable", claims={"sacc": (7000.0, "Btu/h", 2051.5)})
    builders.a_point(unit=unit, capacity_w=2300.0, power_w=900.0, capacity_kind="total", ducted=DUCTED)
    page = reader.get(reverse("unit", args=[unit.pk])).text
    assert "SACC" in page
    assert "by the procedure of its name, from this unit&#x27;s points" in page


def test_a_portable_whose_ducts_are_not_stated_is_told_what_lacks(bench, reader):
    unit = builders.a_unit(bench=bench, kind="single_duct_portable")
    builders.a_point(unit=unit, capacity_w=2300.0, power_w=900.0, capacity_kind="total")
    assert "No SACC: it takes a window at full speed" in reader.get(reverse("unit", args=[unit.pk])).text


def test_what_is_published_of_ducts_names_no_instrument_and_gives_the_same_figure(bench):
    """The detail that leaves the bench carries the stated figures alone, so that a reader's page can work it out."""
    point = builders.a_result_point(ducted=DUCTED)
    kept = public_detail(point.model_dump(mode="json"))
    assert doc.DuctedPoint.model_validate(kept["ducted"]) == DUCTED
