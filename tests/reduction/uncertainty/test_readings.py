"""What a channel brings into the ledger: its mean, and the errors of instrument and place."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.timeline import Series
from reduction.session import Distribution, Instrument, Role, SampleKind
from reduction.uncertainty.ledger import Ledger
from reduction.uncertainty.propagation import propagate
from reduction.uncertainty.readings import enter_power, enter_temperature, from_limit
from tests.reduction.bench_room import TIME_S, a_channel
from tests.reduction.signals import NOON_S, a_counter, a_series

SPAN = (NOON_S, NOON_S + 3600.0)
PLUG = Instrument(id="plug", quantity="power", gain_limit=0.015, offset_limit=1.0, resolution=1.0)
PROBE = Instrument(id="probe", quantity="temperature", offset_limit=0.15)


def u_of(*series: Series) -> float:
    ledger = Ledger()
    quantities = [enter_power(ledger, each, *SPAN) for each in series]
    return propagate(ledger.inputs, lambda x: np.sum([q(x) for q in quantities], axis=0)[None, :]).u()


def heater(name: str, instrument: Instrument | None = PLUG, watts: float = 1000.0) -> Series:
    return a_channel(name, Role.HEATER_CONSTANT_POWER, watts, instrument=instrument)


@pytest.mark.parametrize(
    ("distribution", "u"),
    [(Distribution.RECTANGULAR, 3**-0.5), (Distribution.TRIANGULAR, 6**-0.5), (Distribution.NORMAL_95, 0.5)],
)
def test_a_limit_becomes_a_standard_uncertainty_by_its_distribution(distribution: Distribution, u: float) -> None:
    """JCGM 100:2008, 4.3.7, 4.3.9, 4.3.4."""
    assert from_limit(1.0, distribution).u == pytest.approx(u)


def test_two_readings_of_one_meter_share_its_error_and_two_meters_of_a_kind_do_not() -> None:
    same = u_of(heater("a"), heater("b"))
    other = u_of(heater("a"), heater("b", PLUG.model_copy(update={"id": "plug 2"})))
    assert same == pytest.approx(np.sqrt(2) * other, rel=0.01)


def test_the_meter_s_gain_is_most_of_a_big_load_s_u() -> None:
    assert u_of(heater("a")) == pytest.approx(np.sqrt((15.0 / 3**0.5) ** 2 + 1 / 3 + 1 / 12), rel=1e-3)


def test_a_channel_without_an_instrument_gets_consumer_limits_and_says_so() -> None:
    ledger = Ledger()
    enter_power(ledger, heater("a", None), *SPAN)
    assert u_of(heater("a", None)) > u_of(heater("a"))
    assert any("no instrument stated" in item.source for item in ledger.inputs)


def test_a_calibrated_offset_replaces_the_maker_s_limit() -> None:
    calibrated = PLUG.model_copy(update={"gain_correction_u": 0.001})
    assert u_of(heater("a", calibrated)) < 0.3 * u_of(heater("a"))


def test_a_coarse_register_costs_its_step_over_the_window() -> None:
    time_s = NOON_S + np.arange(0.0, 3601.0, 60.0)
    register = a_counter(
        time_s, np.arange(61.0) / 60.0, instrument=Instrument(id="kWh", quantity="energy", resolution=360e3)
    )
    assert u_of(register) == pytest.approx(360e3 / 6**0.5 / 3600.0, rel=0.01)


def test_a_polled_switching_load_carries_the_doubt_of_its_edges() -> None:
    on = np.where((TIME_S - NOON_S) % 600.0 < 300.0, 1500.0, 0.0)
    exact = PLUG.model_copy(update={"gain_limit": 0.0, "offset_limit": 0.0, "resolution": 0.0})
    switching = a_series(TIME_S, on, Role.HEATER_CYCLING_POWER, kind=SampleKind.INSTANT, instrument=exact)
    assert u_of(switching) == pytest.approx(1500.0 * 10.0 / 12**0.5 * 12**0.5 / 3600.0, rel=0.1)


def room(*temps: float, placement_u: float = 0.2) -> tuple[Series, ...]:
    return tuple(
        a_channel(
            f"room {i}",
            Role.ROOM_TEMP,
            temp,
            instrument=PROBE.model_copy(update={"id": f"p{i}"}),
            placement_u=placement_u,
        )
        for i, temp in enumerate(temps)
    )


def test_the_independent_parts_of_several_sensors_average_out() -> None:
    one, four = (enter_temperature(Ledger(), "room", room(*[22.0] * n), *SPAN).measured.u for n in (1, 4))
    assert four == pytest.approx(one / 2.0)


def test_sensors_further_apart_than_their_limits_make_the_room_uneven() -> None:
    ledger = Ledger()
    found = enter_temperature(ledger, "room", room(20.0, 22.0, 24.0), *SPAN)
    uneven = next(item for item in ledger.inputs if "uneven" in item.name)
    assert found.measured.value == pytest.approx(22.0)
    assert uneven.evaluation == "A"
    assert uneven.dof == 2
    assert found.measured.u == pytest.approx(2.0 / np.sqrt(3.0), rel=0.05)


def test_two_probes_of_one_logger_are_two_errors() -> None:
    twins = tuple(a_channel(name, Role.ROOM_TEMP, 22.0, instrument=PROBE) for name in ("left", "right"))
    ledger = Ledger()
    enter_temperature(ledger, "room", twins, *SPAN)
    assert len([item for item in ledger.inputs if item.name.endswith("sensor")]) == 2
