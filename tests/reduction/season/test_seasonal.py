"""Seasons of a reader's own: bins, levels, climate files, cost, and a unit's CEER from its points."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reduction.__main__ import main
from reduction.errors import UnreadableFile, UnreadableValue
from reduction.judge.diagnosis import diagnose
from reduction.judge.rated_point import RatedPoint
from reduction.run import reduce_windows
from reduction.season.climate import climate_bins, hourly_bins
from reduction.season.season_report import load_result
from reduction.season.seasonal import Bins, Season, bin_season, load_line, published_bins, seasonal_cost
from reduction.season.unit_season import own_season, seasonal_figures, us_ceer
from reduction.session import (
    Claim,
    Compressor,
    Limit,
    Measured,
    Result,
    Role,
    UnitKind,
    UnitUnderTest,
    WindowResult,
)
from tests.reduction.bench_room import HOURS, a_bench_session, a_channel, a_timeline
from tests.reduction.signals import NOON_S

ONE_BIN = Bins(np.array([30.0]), np.array([100.0]))
EPW = (
    "LOCATION,Nowhere\n" + "HEADER\n" * 7 + "".join(f"2020,7,1,{h},0,x,{t}\n" for h, t in enumerate((21.2, 30.9, 99.9)))
)


def _m(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u)


def _point(capacity_w: float, power_w: float, verdict: str = "at full speed", **changes: Any) -> RatedPoint:
    point: dict[str, Any] = {
        "kind": UnitKind.WINDOW,
        "capacity": _m(capacity_w, 0.01 * capacity_w),
        "power": _m(power_w, 0.005 * power_w),
        "room_temp_c": _m(26.6667),
        "room_wet_bulb_c": _m(19.4444),
        "outdoor_temp_c": _m(35.0),
        "limit": Limit(verdict=verdict, because=""),
    }
    return RatedPoint(**{**point, **changes})


def test_a_unit_just_at_its_load_runs_all_the_time() -> None:
    season = bin_season(ONE_BIN, np.array([2000.0]), [2000.0], [600.0])
    assert season.energy_kwh == pytest.approx(60.0)
    assert season.unmet_kwh == 0.0


def test_half_a_load_cycles_and_costs_the_cycling_loss() -> None:
    # AHRI 210/240 degradation: PLF = 1 − C_D (1 − X); at X = 0.5 and C_D = 0.25 it is 0.875.
    season = bin_season(ONE_BIN, np.array([1000.0]), [2000.0], [600.0], 0.25)
    assert season.energy_kwh == pytest.approx(0.5 * 60.0 / 0.875)


def test_between_two_levels_power_follows_the_load() -> None:
    season = bin_season(ONE_BIN, np.array([1500.0]), [[1000.0], [2000.0]], [[250.0], [600.0]])
    assert season.energy_kwh == pytest.approx(42.5)


def test_a_load_beyond_the_unit_is_not_met_and_said_so() -> None:
    season = bin_season(ONE_BIN, np.array([3000.0]), [[1000.0], [2000.0]], [[250.0], [600.0]])
    assert season.cooling_kwh == pytest.approx(200.0)
    assert season.unmet_kwh == pytest.approx(100.0)
    assert season.energy_kwh == pytest.approx(60.0)


def test_a_season_without_load_draws_nothing() -> None:
    season = bin_season(ONE_BIN, load_line([10.0], 20.0, 35.0, 2000.0), [2000.0], [600.0])
    assert season.energy_kwh == 0.0
    assert np.isnan(season.ratio)


def test_unknown_bins_are_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match="ahri_210_240, eu_cooling, iso_16358"):
        published_bins("mars")


def test_a_weather_file_of_hours_becomes_bins_and_missing_hours_are_left_out() -> None:
    bins = climate_bins(EPW)
    assert bins.outdoor_temp_c.tolist() == [21.0, 31.0]
    assert bins.hours.tolist() == [1.0, 1.0]


def test_a_typical_year_is_found_by_its_heading() -> None:
    bins = climate_bins("station,1\nDate,Dry-bulb (C),RH\n1,21.4,50\n2,20.6,50\n")
    assert bins.hours.tolist() == [2.0]


def test_a_table_of_bins_may_be_in_fahrenheit_and_have_any_separator() -> None:
    bins = climate_bins("Temp °F;hours\n77;120\n86;40\n")
    assert bins.outdoor_temp_c == pytest.approx([25.0, 30.0])
    assert bins.hours.tolist() == [120.0, 40.0]


@pytest.mark.parametrize(
    ("text", "error", "words"),
    [
        ("", UnreadableFile, "an EPW or TMY file"),
        ("temp,hours\n25,many\n", UnreadableValue, "row 2: found “many”, expected hours from 0 to 8784"),
        ("temp,hours\n25,8000\n26,8000\n", UnreadableValue, "16000 in all"),
        (EPW.replace("30.9", "309"), UnreadableValue, "row 10: found “309”"),
    ],
)
def test_a_climate_that_cannot_be_is_refused_with_the_row(text: str, error: type[Exception], words: str) -> None:
    with pytest.raises(error, match=words):
        climate_bins(text)


def test_cost_is_energy_and_standby_at_the_price() -> None:
    cost = seasonal_cost(Season(1200.0, 400.0, 0.0), 0.25, standby_w=2.0, standby_hours=4000.0)
    assert cost.total == pytest.approx((400.0 + 8.0) * 0.25)
    with pytest.raises(ValueError, match="cannot be negative"):
        seasonal_cost(Season(1.0, 1.0, 0.0), -0.1)


def test_a_single_speed_ceer_counts_the_measured_standby() -> None:
    figure = us_ceer([_point(2344.57, 720.0)], _m(1.0, 0.05))
    assert figure.value == pytest.approx(11.007, abs=0.005)
    assert all(each.measured for each in figure.inputs)


def test_an_unmeasured_standby_is_named_and_bounded() -> None:
    figure = us_ceer([_point(2344.57, 720.0)])
    standby = next(each for each in figure.inputs if each.name == "standby power")
    assert not standby.measured
    assert "not measured" in standby.because
    assert figure.u95 > us_ceer([_point(2344.57, 720.0)], _m(1.0, 0.05)).u95


def test_a_variable_speed_unit_needs_its_lower_levels_for_the_adjustment() -> None:
    full = _point(3516.9, 1050.0)
    middle = _point(2637.6, 600.0, "reduced speed", outdoor_temp_c=_m(30.5556))
    low = _point(1817.0, 340.0, "reduced speed", outdoor_temp_c=_m(27.7778))
    without, with_levels = us_ceer([full, middle]), us_ceer([full, middle, low], _m(1.0))
    assert "lower bound" in without.because
    # The worked example of the published rows is 14.35; idle power and maps differ a little here.
    assert with_levels.value == pytest.approx(14.35, abs=0.15)
    assert with_levels.value > without.value


def test_without_a_point_at_full_speed_there_is_no_ceer() -> None:
    assert us_ceer([_point(1000.0, 300.0, "coil near freezing")]) is None


def test_an_own_season_states_cost_as_an_interval_and_a_lower_level_saves() -> None:
    bins = hourly_bins([24.0] * 300 + [29.0] * 200 + [34.0] * 50)
    load = load_line(bins.outdoor_temp_c, 20.0, 35.0, 2200.0)
    full, low = [_point(2345.0, 720.0)], [_point(1200.0, 270.0, "reduced speed", outdoor_temp_c=_m(28.0))]
    one, two = (
        own_season(levels, bins, load, room_wet_bulb_c=18.0, price_per_kwh=0.2) for levels in ([full], [low, full])
    )
    assert two.cost.total < one.cost.total
    assert one.cost_interval[0] < one.cost.total < one.cost_interval[1]
    assert (
        own_season([[_point(900.0, 300.0, "coil near freezing")]], bins, load, room_wet_bulb_c=18.0, price_per_kwh=0.2)
        is None
    )


def _result_file(folder: Path) -> Path:
    """A result with one point at full speed, from the bench's channels through the whole reduction."""
    timeline = a_timeline({"unit": 900.0, "room": 26.5, "heater": 2300.0}, a_channel("supply", Role.SUPPLY_TEMP, 9.0))
    start = datetime.fromtimestamp(NOON_S, UTC)
    window = WindowResult(label="whole", start=start, end=start + timedelta(hours=HOURS), proposed=False, steady=True)
    claim = Claim(quantity="capacity", value=9000, quantity_unit="Btu/h")
    unit = UnitUnderTest(model="Norvane W9", kind=UnitKind.WINDOW, compressor=Compressor.FIXED_SPEED, claims=(claim,))
    session = a_bench_session(unit=unit)
    points, _ = reduce_windows(timeline, session, (window,))
    points = diagnose(points, timeline, session)
    result = Result(
        method_version="1.0", session_name="bench", synthetic=True, session_sha256="", files=(), channels=(),
        points=points, seasonal=seasonal_figures(points, unit.kind, unit.compressor), findings=(),
    )  # fmt: skip
    path = folder / "RESULT.json"
    path.write_text(result.model_dump_json(), encoding="utf-8")
    return path


def test_the_command_line_gives_a_season_in_an_own_climate(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    climate, result = tmp_path / "bins.csv", _result_file(tmp_path)
    climate.write_text("temp_c,hours\n24,300\n30,200\n", encoding="utf-8")
    assert main(["season", str(result), "--climate", str(climate), "--price", "0.2"]) == 0
    shown = capsys.readouterr().out
    assert "Cost of the season" in shown
    assert "cycling loss C_D" in shown
    assert main(["season", str(climate), "--climate", str(climate), "--price", "0.2"]) == 2
    assert "row 1: found “temp_c,hours”, expected JSON" in capsys.readouterr().err
    climate.write_text("{}", encoding="utf-8")
    assert main(["season", str(climate), "--climate", str(climate), "--price", "0.2"]) == 2
    assert "schema result" in capsys.readouterr().err


def test_a_stored_point_gives_the_ceer_of_a_single_speed_unit(tmp_path: Path) -> None:
    result = load_result(_result_file(tmp_path))
    (figure, cspf), eer = result.seasonal, result.points[0].ratings[0].eer_btu_per_wh
    assert cspf.name.startswith("CSPF")
    assert figure.name == "CEER"
    assert figure.because.startswith("One test at 95 °F")
    assert 0.97 * eer < figure.value < eer
