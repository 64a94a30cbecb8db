"""From a file of the folder of oddities to the figure worked out by hand: the reader and the timeline together."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reduction.align.channels import series_of
from reduction.align.series import Series, energy_over, mean_over
from reduction.readers import read_log
from reduction.session import Profile
from tests.reduction.signals import KWH, WH, a_session, clock

FOLDER = Path(__file__).parents[3] / "fixtures" / "logs"


def series_in(file: str, time_zone: str = "UTC", **profile: Any) -> list[Series]:
    log = read_log(FOLDER / file, profile=Profile.model_validate(profile), time_zone=time_zone)
    return list(series_of(a_session(time_zone=time_zone), (log,))[0])


def test_the_event_log_holds_95_55_wh_and_573_3_w() -> None:
    (heater,) = series_in("event_log_outage.csv")
    energy = energy_over(heater, clock("18:00"), clock("18:10"))
    assert energy.seen_j / WH == pytest.approx(95.55, abs=0.005)
    assert (energy.low_j / WH, energy.high_j / WH) == pytest.approx((85.67, 95.56), abs=0.006)
    assert mean_over(heater, clock("18:00"), clock("18:10")).value == pytest.approx(573.3, abs=0.05)


def test_the_counter_gives_0_98_kwh_one_glitch_and_one_reset() -> None:
    (heater,) = series_in("counter_glitch_and_reset.csv")
    energy = energy_over(heater, clock("18:00"), clock("19:00"))
    assert energy.seen_j / KWH == pytest.approx(0.98, abs=1e-9)
    assert (energy.glitches, energy.resets) == (1, 1)
    assert energy.high_j / KWH == pytest.approx(0.997, abs=2e-4)


def test_the_counter_of_the_day_gives_0_07_kwh_over_midnight() -> None:
    (heater,) = series_in("counter_of_today.csv", "Europe/Berlin")
    energy = energy_over(heater, clock("21:58"), clock("22:02"))
    assert energy.seen_j / KWH == pytest.approx(0.07)
    assert (energy.high_j - energy.seen_j) / KWH == pytest.approx(0.03)


def test_energy_per_row_agrees_with_the_mean_power_beside_it() -> None:
    room, power, energy = series_in("four_heading_rows.dat")
    assert (room.role, power.role, energy.role) == ("room_temp", "unit_power", "unit_energy")
    minute = (clock("14:04"), clock("14:05"))
    assert mean_over(energy, *minute).value == pytest.approx(741.6, abs=0.01)
    assert mean_over(power, *minute).value == pytest.approx(741.8, abs=0.01)


def test_stamps_at_the_end_and_at_the_start_mean_the_same_interval() -> None:
    day = {"declared_date": "2026-07-14"}
    (by_end,), (by_start,) = (series_in(f"period_{side}.csv", **day) for side in ("end", "start"))
    for series in (by_end, by_start):
        assert mean_over(series, clock("18:05"), clock("18:10")).value == pytest.approx(593.0)


def test_half_an_hour_of_silence_is_no_data() -> None:
    (unit,) = series_in("event_log_no_heading.csv")
    mean = mean_over(unit, clock("18:05"), clock("18:41"))
    assert mean.known_fraction < 0.5
    assert mean.low < 400 < mean.high


def test_a_relay_that_leads_its_meter_by_4_s_leaves_the_energy_to_the_meter() -> None:
    relay, heater = series_in("state_words.csv", declared_date="2026-07-14")
    assert relay.time_s[1] == clock("18:07")
    assert heater.values[heater.time_s == clock("18:07")] == pytest.approx(1185.9)


def test_units_of_cells_become_one_si_column() -> None:
    room, power, heat = series_in("units_in_cells.csv", declared_date="2026-07-14")
    assert room.values.tolist() == pytest.approx([24.61, 24.7], abs=0.005)
    assert power.values.tolist() == pytest.approx([742.0, 741.0])
    assert heat.values.tolist() == pytest.approx([1190.0, 1187.0])


def test_the_clocks_of_two_files_are_left_as_they_are() -> None:
    (hub,), (logger,) = series_in("two_clocks_hub.csv"), series_in("two_clocks_logger.csv")
    on, rises = hub.time_s[1], logger.time_s[1]
    assert rises - on == pytest.approx(94.0)
    assert np.all(np.diff(hub.time_s) == 10.0)
