"""Channels are looked at before anything is averaged: what is taken out, what is left out, what is said."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.series import Series, mean_over
from reduction.examine.examination import Examined, examine
from reduction.session import Role, Severity
from tests.reduction.signals import KWH, NOON_S, a_counter, a_series, every

TIME = every(10.0, 4)


def room(number: int, level: float = 22.0) -> Series:
    draw = np.random.default_rng(number)
    value = level + 0.4 * np.sin((TIME - NOON_S) / 400) + draw.normal(0, 0.03, len(TIME))
    return a_series(TIME, value.round(3), column=f"room {number}")


def with_values(series: Series, values: np.ndarray) -> Series:
    return a_series(series.time_s, values, series.role, column=series.column, file=series.file)


def codes(examined: Examined) -> list[str]:
    return [finding.code for finding in examined.findings]


def the(examined: Examined, code: str) -> str:
    return next(finding.sentence for finding in examined.findings if finding.code == code)


def test_sound_channels_give_no_finding() -> None:
    examined = examine((room(1), room(2), room(3)))
    assert codes(examined) == []
    assert examined.left_out == frozenset()


def test_spikes_are_taken_out_of_the_mean_and_counted() -> None:
    value = room(1).values.copy()
    value[[100, 700]] = 40.0
    examined = examine((with_values(room(1), value),))
    assert mean_over(examined.series[0], NOON_S, NOON_S + 14_000).value == pytest.approx(22.0, abs=0.05)
    assert the(examined, "spikes_removed").startswith("2 of 1440 samples of room 1 jump away")


def test_a_stuck_room_sensor_is_left_out_while_its_siblings_move() -> None:
    value = room(1).values.copy()
    value[300:] = value[300]
    examined = examine((with_values(room(1), value), room(2), room(3)))
    assert examined.left_out == frozenset({"room 1"})
    finding = next(f for f in examined.findings if f.code == "stuck_sensor")
    assert finding.severity is Severity.SEVERE
    assert "for 3.2 h while" in finding.sentence


def test_a_quiet_room_does_not_make_its_sensors_stuck() -> None:
    quiet = tuple(with_values(room(n), np.full(len(TIME), 22.0)) for n in (1, 2, 3))
    assert examine(quiet).left_out == frozenset()


def test_the_only_sensor_is_never_left_out() -> None:
    value = np.full(len(TIME), 22.0)
    back = with_values(room(2), room(2).values)
    examined = examine((with_values(room(1), value), a_series(TIME, back.values, Role.RETURN_TEMP, column="return")))
    assert examined.left_out == frozenset()
    assert "stuck_sensor" in codes(examined)


def test_fahrenheit_read_as_celsius_is_said_with_level_and_gain_and_never_mended_in_silence() -> None:
    lying = with_values(room(1), room(1).values * 1.8 + 32)
    examined = examine((lying, room(2)))
    assert examined.left_out == frozenset({"room 1"})
    assert examined.series[0].values[0] == pytest.approx(lying.values[0])
    assert "71.6 °C, which no room has; taken as °F it would be 22.0 °C" in the(examined, "unit_mix_up")
    assert "1.8 times as far as room 2" in the(examined, "unit_mix_up")


def test_an_outdoor_sensor_in_fahrenheit_read_as_celsius_is_left_out_though_it_is_the_only_one() -> None:
    outdoor = a_series(TIME, np.full(len(TIME), 86.7), Role.OUTDOOR_TEMP, column="Outside (°C)")
    examined = examine((outdoor, room(1)))
    assert examined.left_out == frozenset({"Outside (°C)"})
    assert "86.7 °C, which no outdoor air has; taken as °F it would be 30.4 °C." in the(examined, "unit_mix_up")


def test_powers_that_are_all_a_thousandth_of_a_heater_are_said_to_be_kilowatts() -> None:
    unit, heater = (
        a_series(TIME, np.full(len(TIME), watts), role, column=name)
        for name, watts, role in (("ac", 0.67, Role.UNIT_POWER), ("heater", 1.45, Role.HEATER_CONSTANT_POWER))
    )
    assert "taken as kW they would draw up to 1450 W" in the(examine((unit, heater)), "unit_mix_up")
    idle = a_series(TIME, np.full(len(TIME), 1.45), Role.UNIT_POWER, column="ac")
    assert "unit_mix_up" not in codes(examine((idle,)))


def test_a_plug_that_stands_at_one_value_to_the_last_digit_is_taken_as_missing() -> None:
    watts = np.round(900.0 + np.random.default_rng(3).normal(0.0, 0.4, len(TIME)), 1)
    watts[200:500] = 900.3
    plug = a_series(TIME, watts, Role.HEATER_CYCLING_POWER, column="heater")
    examined = examine((plug,))
    assert "heater stands at 900.3 W to the last digit" in the(examined, "frozen_power")
    assert np.isnan(examined.series[0].values[200:500]).all()
    assert np.isfinite(examined.series[0].values[:190]).all()


def test_a_load_that_is_off_or_shown_in_whole_watts_is_not_frozen() -> None:
    off = np.where(np.arange(len(TIME)) < 400, 0.0, 900.0 + np.arange(len(TIME)) % 3)
    coarse = 900.0 + np.arange(len(TIME)) // 90 % 2
    series = (a_series(TIME, w, Role.HEATER_CYCLING_POWER, column=f"h{n}") for n, w in enumerate((off, coarse)))
    assert "frozen_power" not in codes(examine(tuple(series)))


def test_a_sensor_far_from_others_that_agree_is_left_out() -> None:
    examined = examine((room(1), room(2), room(3, level=12.0)))
    assert examined.left_out == frozenset({"room 3"})
    assert "−10.0 K from the other 2 room sensors" in the(examined, "room_sensor_far_off")


def test_two_room_sensors_apart_are_said_and_kept() -> None:
    examined = examine((room(1), room(2, level=23.5)))
    assert examined.left_out == frozenset()
    assert "differ by −1.5 K" in the(examined, "room_sensors_apart")


def a_running_unit(supply_c: float, return_c: float) -> tuple[Series, ...]:
    return (
        a_series(TIME, np.full(len(TIME), 700.0), Role.UNIT_POWER, column="ac"),
        a_series(TIME, np.linspace(supply_c, supply_c + 1, len(TIME)), Role.SUPPLY_TEMP, column="supply"),
        a_series(TIME, np.linspace(return_c, return_c + 1, len(TIME)), Role.RETURN_TEMP, column="return"),
    )


def test_swapped_probes_are_found() -> None:
    assert "roles_swapped" not in codes(examine(a_running_unit(8.0, 22.0)))
    examined = examine(a_running_unit(22.0, 8.0))
    assert "the supply is warmer than the return (supply against return) by 14.0 K" in the(examined, "roles_swapped")


def test_a_counter_that_disagrees_with_the_power_is_said_with_both_energies() -> None:
    hours = np.arange(0.0, 4.01, 1.0)
    power = a_running_unit(8.0, 22.0)[0]
    right, wrong = (a_counter(NOON_S + 3600 * hours, 10 + k * 0.7 * hours, column="kWh") for k in (1.0, 1.2))
    assert right.counter is not None
    assert right.counter.energy.sum() / KWH == pytest.approx(2.8)
    assert "counter_disagrees" not in codes(examine((power, right)))
    assert "counted 3.358 kWh while ac integrates to 2.798 kWh" in the(examine((power, wrong)), "counter_disagrees")


def test_a_reset_and_a_glitch_are_counted() -> None:
    log = a_counter([0, 600, 605, 1200, 1260, 1800], [5.0, 0.0, 5.1, 5.2, 0.0, 0.1], column="kWh")
    assert "fell and came back once, which was ignored, and was reset once" in the(examine((log,)), "counter_reset")


def test_one_outage_of_a_logger_is_one_finding() -> None:
    keep = (TIME < NOON_S + 3600) | (TIME > NOON_S + 5400)
    channels = tuple(a_series(TIME[keep], room(n).values[keep], column=f"room {n}") for n in (1, 2, 3))
    examined = examine(channels)
    assert codes(examined) == ["gap_in_channel"]
    assert "3 channels of log.csv, room 1 among them, have 1 gap of 30.3 min" in the(examined, "gap_in_channel")


def test_files_of_different_days_have_no_moment_in_common() -> None:
    late = a_series(TIME + 86_400, room(2).values, column="room 2", file="late.csv")
    assert "starts 20.0 h after room 1" in the(examine((room(1), late)), "no_overlap")


def test_an_empty_channel_is_no_crash() -> None:
    assert examine((a_series([], []), a_series([0.0, 10.0], [np.nan, np.nan], column="b"))).findings == ()


def test_a_humidity_that_is_a_share_of_one_is_left_out_and_said() -> None:
    examined = examine((room(1), a_series(TIME, np.full(len(TIME), 0.25), Role.ROOM_RH, column="rh")))
    (found,) = [each for each in examined.findings if each.code == "out_of_range"]
    assert "cannot be (such as 0.2 %)" in found.sentence
    assert "share of one" in found.remedy
    assert np.isnan(examined.series[1].values).all()


def test_a_dry_room_is_not_taken_for_a_share_of_one() -> None:
    examined = examine((room(1), a_series(TIME, np.full(len(TIME), 6.0), Role.ROOM_RH, column="rh")))
    assert "out_of_range" not in codes(examined)


@pytest.mark.parametrize(("outdoor_c", "said"), [(-5.0, True), (20.0, False), (36.0, False), (52.0, True)])
def test_an_outdoor_sensor_far_from_the_condensers_inlet_is_said(outdoor_c: float, said: bool) -> None:
    wave = 0.2 * np.sin((TIME - NOON_S) / 900)
    outdoor = a_series(TIME, outdoor_c + wave, Role.OUTDOOR_TEMP, column="yard")
    inlet = a_series(TIME, 35.0 + wave, Role.CONDENSER_INLET_TEMP, column="condenser in")
    assert ("outdoors_far_from_condenser" in codes(examine((room(1), outdoor, inlet)))) is said
