"""Circuits, sizing and the heat of people against the cited rules."""

from __future__ import annotations

import pytest

from reduction.ground.moist_air import vaporisation_heat_j_per_kg
from reduction.planning.circuits import Circuit, CircuitLoad, use_of
from reduction.planning.sizing import people_heat_w, room_size_btu_per_h
from reduction.room.envelope import ORDINARY_ROOM_M3, ORDINARY_UA_W_PER_K
from reduction.room.slow_mass_model import wall_capacity_j_per_k
from reduction.session import Room
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
    room = Room(volume_m3=37.5, floor_m2=row.floor_m2, construction=row.construction)
    assert row.agrees(wall_capacity_j_per_k(room) * row.drift_k_per_h / 3600.0)


@pytest.mark.parametrize(("case", "edge", "changes_per_h"), [("low", 0, 0.1), ("high", 1, 0.5)])
def test_the_band_of_an_unknown_room_ends_at_rooms_of_published_u_values(
    case: str, edge: int, changes_per_h: float
) -> None:
    """Own sum: each element's area by its published U-value, and 0.335 W/K for each m³/h of leaking air."""
    walls = [row for row in published("conductance") if row.case == case]
    air_w_per_k = 1.2 * 1005.0 / 3600.0 * changes_per_h * ORDINARY_ROOM_M3
    total = sum(row.area_m2 * row.value for row in walls) + air_w_per_k
    assert ORDINARY_UA_W_PER_K[edge] == pytest.approx(total, rel=max(row.tolerance for row in walls))
