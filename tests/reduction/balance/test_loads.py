"""One plug is one load, however it is recorded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reduction.align.timeline import Series, align
from reduction.balance.loads import loads_of
from reduction.session import Instrument, Role, SampleKind
from tests.reduction.bench_room import a_channel
from tests.reduction.signals import NOON_S, a_counter

SPAN = (NOON_S, NOON_S + 3600.0)
PLUG = Instrument(id="plug", quantity="power", gain_limit=0.01, resolution=0.1)


def counter(watts: float, **fields: object) -> Series:
    time_s = NOON_S + np.arange(0.0, 7201.0, 60.0)
    readings = np.arange(len(time_s)) * watts / 60.0 / 1000.0
    return a_counter(time_s, readings, key="counter", column="counter", **fields)  # type: ignore[arg-type]


def retyped(series: Series, role: Role) -> Series:
    return replace(series, role=role, kind=SampleKind.COUNTER)


def names(*series: Series, what: str = "heater") -> list[str]:
    return [load.series.key for load in loads_of(align(series), what, *SPAN)]


def test_a_power_log_and_the_counter_of_the_same_plug_are_one_load() -> None:
    power = a_channel("heater", Role.HEATER_CONSTANT_POWER, 1000.0, instrument=PLUG)
    assert names(power, retyped(counter(1000.0, instrument=PLUG), Role.HEATER_ENERGY)) == ["heater"]


def test_a_counter_of_another_plug_is_another_load() -> None:
    power = a_channel("heater", Role.HEATER_CONSTANT_POWER, 1000.0, instrument=PLUG)
    other = retyped(counter(500.0, instrument=PLUG.model_copy(update={"id": "plug 2"})), Role.HEATER_ENERGY)
    assert names(power, other) == ["heater", "counter"]


def test_the_better_record_of_a_load_is_used() -> None:
    coarse = a_channel(
        "heater", Role.HEATER_CONSTANT_POWER, 1000.0, instrument=PLUG.model_copy(update={"resolution": 100.0})
    )
    fine = retyped(counter(1000.0, instrument=PLUG), Role.HEATER_ENERGY)
    assert names(coarse, fine) == ["counter"]


def test_records_of_one_load_that_disagree_are_said_to() -> None:
    power = a_channel("unit", Role.UNIT_POWER, 1000.0, instrument=PLUG)
    (load,) = loads_of(align((power, counter(700.0, instrument=PLUG))), "unit", *SPAN)
    assert load.finding is not None
    assert load.finding.code == "energy_disagrees_with_power"
    assert "300" in load.finding.sentence


def test_records_of_one_load_that_agree_pass_in_silence() -> None:
    power = a_channel("unit", Role.UNIT_POWER, 1000.0, instrument=PLUG)
    (load,) = loads_of(align((power, counter(1000.0, instrument=PLUG))), "unit", *SPAN)
    assert load.finding is None
    assert load.mean_w == pytest.approx(1000.0, abs=1.0)
