"""Air-side heat, condensate and infiltration against the handbook's examples."""

from __future__ import annotations

import pytest

from reduction.ground import moist_air
from reduction.judge.airside import AirSide, air_side_heat_w
from reduction.session import Measured
from tests.published.rows import Row, published


def _exactly(value: float) -> Measured:
    return Measured(value=value, u=0.0)


def _ratio(temp_c: float, rh_percent: float | None, wet_bulb_c: float | None) -> float:
    if wet_bulb_c is None:
        return moist_air.humidity_ratio(temp_c, rh_percent)
    return moist_air.humidity_ratio_from_wet_bulb(temp_c, wet_bulb_c)


def _room_ratio(row: Row) -> float:
    return _ratio(row.room_temp_c, row.room_rh_percent, row.room_wet_bulb_c)


def _other_ratio(row: Row) -> float:
    return _ratio(row.other_temp_c, row.other_rh_percent, row.other_wet_bulb_c)


def _heat(row: Row) -> float:
    air = AirSide(
        capacity=_exactly(0.0),
        sensible=_exactly(0.0),
        power=_exactly(0.0),
        room_temp_c=_exactly(row.room_temp_c),
        supply_temp_c=_exactly(row.other_temp_c),
        return_ratio=_exactly(_room_ratio(row)),
        supply_ratio=_exactly(_other_ratio(row)),
    )
    return air_side_heat_w(air, _exactly(row.flow_m3_per_h)).value


def _infiltration(row: Row, *, latent: bool) -> float:
    kg_per_s = row.flow_m3_per_h / 3600 / moist_air.specific_volume_m3_per_kg(row.other_temp_c, _other_ratio(row))
    inside = _room_ratio(row)
    outside = _other_ratio(row) if latent else inside
    rise = moist_air.enthalpy_j_per_kg(row.other_temp_c, outside) - moist_air.enthalpy_j_per_kg(row.room_temp_c, inside)
    return kg_per_s * rise


def _condensate(row: Row) -> float:
    kg_per_h = row.flow_m3_per_h / moist_air.specific_volume_m3_per_kg(row.room_temp_c, _room_ratio(row))
    return kg_per_h * (_room_ratio(row) - _other_ratio(row))


def _water_term(row: Row) -> float:
    warm, cold = (moist_air.water_enthalpy_j_per_kg(t) for t in (row.room_temp_c, row.other_temp_c))
    return (warm - cold) / 3600


def _latent_of_the_example_w(row: Row) -> float:
    return 0.0015 * moist_air.vapour_enthalpy_j_per_kg(row.room_temp_c)


COMPUTED = {
    "room_line_kj_per_kg": lambda row: (9000.0 + _latent_of_the_example_w(row)) / 0.0015 / 1000.0,
    "room_total_w": lambda row: 9000.0 + _latent_of_the_example_w(row),
    "room_shr": lambda row: 9000.0 / (9000.0 + _latent_of_the_example_w(row)),
    "air_side_heat_w": _heat,
    "condensate_kg_per_h": _condensate,
    "infiltration_total_w": lambda row: _infiltration(row, latent=True),
    "infiltration_sensible_w": lambda row: _infiltration(row, latent=False),
    "condensate_of_1000_w_kg_per_h": lambda row: 3.6e6 / moist_air.vaporisation_heat_j_per_kg(row.room_temp_c),
    "water_term_of_1_kg_per_h_w": _water_term,
}


@pytest.mark.parametrize("row", published("air_and_water"), ids=str)
def test_air_and_water_carry_the_heat_of_the_worked_examples(row: Row) -> None:
    assert row.agrees(COMPUTED[row.quantity](row))
