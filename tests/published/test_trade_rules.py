"""Circuits, sizing and the heat of people against the cited rules."""

from __future__ import annotations

import pytest

from reduction.ground.moist_air import vaporisation_heat_j_per_kg
from reduction.planning.circuits import Circuit, CircuitLoad, use_of
from reduction.planning.sizing import people_heat_w, room_size_btu_per_h
from reduction.room.envelope import HEAT_CAPACITY_J_PER_M2_K
from tests.published.rows import Row, published


@pytest.mark.parametrize("row", published("circuits"), ids=str)
def test_a_load_on_a_circuit_is_judged_by_the_code(row: Row) -> None:
    circuit = Circuit(rating_a=row.rating_a, volts=row.volts)
    use = use_of(circuit, [CircuitLoad(name="heater", power_w=row.power_w)])
    assert row.agrees(getattr(circuit if row.quantity.startswith("limit") else use, row.quantity))


@pytest.mark.parametrize("row", published("sizing_rule"), ids=str)
def test_a_room_is_sized_by_the_consumer_table(row: Row) -> None:
    assert row.agrees(room_size_btu_per_h(row.floor_ft2, sun=row.sun, people=int(row.people)))


def test_a_floor_outside_the_table_is_refused_with_its_range() -> None:
    with pytest.raises(ValueError, match="1200 ft²: the table covers 100 to 1000 ft²"):
        room_size_btu_per_h(1200.0)


@pytest.mark.parametrize("row", published("people"), ids=str)
def test_people_give_the_heat_of_the_handbook(row: Row) -> None:
    sensible, latent = people_heat_w(int(row.count))
    water = latent / vaporisation_heat_j_per_kg(25.0) * 3600.0
    found = {"sensible_w": sensible, "latent_w": latent, "total_w": sensible + latent, "water_kg_per_h": water}
    assert row.agrees(found[row.quantity])


@pytest.mark.parametrize("row", published("construction"), ids=str)
def test_a_drifting_room_takes_the_heat_of_its_construction(row: Row) -> None:
    heat = HEAT_CAPACITY_J_PER_M2_K[row.construction] * row.floor_m2 * row.drift_k_per_h / 3600.0
    assert row.agrees(heat)
