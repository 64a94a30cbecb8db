"""Pictures carry their units, their uncertainty and a text that says the same."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from reduction import session as doc
from tests import builders
from tests_app import charts
from tests_app.actions import reading
from tests_app.models import Window
from units.picture import Drawn
from units.quantities import Display

START = pd.Timestamp("2026-07-14T12:00:00Z")
FRAME = pd.DataFrame(
    {
        "room_temp|room <1>": np.linspace(20.0, 26.0, 720),
        "unit_power|plug": np.r_[np.zeros(360), np.full(360, 650.0)],
        "room_rh|hygro": np.full(720, 45.0),
        "relay_state|relay": np.zeros(720),
    },
    index=pd.date_range(START, periods=720, freq="10s"),
)
ACCEPTED = Window(label="A", start=START + timedelta(minutes=30), end=START + timedelta(minutes=60), accepted=True)


def text_of(drawn: Drawn) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]*)</text>", drawn.svg)


def said_by(drawn: Drawn) -> str:
    return re.search(r'aria-label="([^"]*)"', drawn.svg)[1]


def test_the_timeline_names_quantities_units_zone_and_channels() -> None:
    words = text_of(charts.timeline(FRAME, [ACCEPTED], "America/Denver", Display()))
    assert {"Room (°C)", "Power (W)", "Humidity (%)", "Time (America/Denver)", "plug", "hygro"} <= set(words)
    assert "06:30" in words  # 12:30 UTC on a wall in Denver in July
    assert "relay" not in words


def test_the_timeline_follows_the_readers_temperature_scale() -> None:
    words = text_of(charts.timeline(FRAME, [], "UTC", Display(temperature="F")))
    assert "Room (°F)" in words
    assert {"70", "75"} & set(words)  # 20…26 °C is 68…78.8 °F


def test_a_room_that_stands_still_is_drawn_standing_still_and_apart_from_the_coil() -> None:
    still = FRAME[[]].assign(**{"room_temp|middle": 26.0 + 0.05 * np.sin(np.arange(720)), "supply_temp|louvre": 9.0})
    words = text_of(charts.timeline(still, [], "UTC", Display()))
    assert {"Room (°C)", "Other temperatures (°C)"} <= set(words)
    assert {"25.0", "26.0", "27.0"} <= set(words)  # 2 K at the least, though its sensor moves by 0.1 K


def test_a_counter_of_energy_is_drawn_as_power_and_says_so() -> None:
    metered = FRAME[["room_temp|room <1>"]].assign(**{"unit_energy|meter": 593.0})
    words = text_of(charts.timeline(metered, [], "UTC", Display()))
    assert {"Power (W)", "meter, as power"} <= set(words)


def test_the_timelines_text_says_span_channels_and_windows() -> None:
    assert said_by(charts.timeline(FRAME, [ACCEPTED], "UTC", Display())) == (
        "Channels on one clock. 2026-07-14 12:00 to 2026-07-14 13:59 UTC, room &lt;1&gt;, plug, hygro, relay; "
        "1 window, 1 of them accepted."
    )


def test_a_channels_name_cannot_break_out_of_the_picture() -> None:
    assert "<1>" not in charts.timeline(FRAME, [], "UTC", Display()).svg
    column = {"low": 1.0, "high": 2.0, "quantity_unit": "°C"}
    assert "<script" not in charts.sparkline([[0.5, 1.0, 2.0]], "<script>", column)


def test_the_table_behind_the_timeline_holds_its_means() -> None:
    drawn = charts.timeline(FRAME, [], "UTC", Display())
    assert [column.title for column in drawn.headings] == ["From", "room <1>", "plug", "hygro", "relay"]
    # 720 rows drawn as 360, these over 45 spans: the first is the mean of rows 0…15 of a line of 6 K over 719 steps.
    assert len(drawn.table) == 45 <= charts.TABLE_ROWS
    assert drawn.table[0] == ["2026-07-14 12:00", "20.1 °C", "0.0 W", "45.0 %", "0.0"]


def test_the_file_of_the_timeline_holds_every_row_that_is_drawn_with_its_role_unit_and_zone() -> None:
    csv = pd.read_csv(io.BytesIO(charts.timeline(FRAME, [], "America/Denver", Display()).file("csv")))
    assert list(csv.columns)[:3] == ["time [America/Denver]", "room_temp|room <1> [°C]", "unit_power|plug [W]"]
    assert len(csv) == 360
    assert csv.iloc[0, 0] == "2026-07-14 06:00:00"  # 12:00 UTC on a wall in Denver in July
    assert csv["unit_power|plug [W]"].tolist() == FRAME["unit_power|plug"].to_numpy().reshape(360, 2).mean(1).tolist()


def test_a_window_that_was_moved_is_drawn_anew() -> None:
    moved = Window(label="A", start=ACCEPTED.start, end=START + timedelta(minutes=90), accepted=True)
    first, second = (charts.timeline(FRAME, [window], "UTC", Display()) for window in (ACCEPTED, moved))
    assert first.says == second.says
    assert first.svg != second.svg


def test_there_is_no_timeline_of_channels_that_no_panel_takes() -> None:
    assert charts.timeline(FRAME[["relay_state|relay"]], [], "UTC", Display()) is None


def test_a_channel_in_small_loses_no_spike() -> None:
    time_s, values = np.arange(100_000.0), np.full(100_000, 21.0)
    values[54_321] = 85.0
    drawn = reading.picture(time_s, values)
    assert len(drawn) == reading.PICTURE_BINS
    assert max(high for _, _, high in drawn) == 85.0
    assert min(low for _, low, _ in drawn) == 21.0


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(21.34, 26.91, "21.3 to 26.9 °C"), (0.0, 1187.4, "0 to 1,187 °C"), (5.123, 5.456, "5.12 to 5.46 °C")],
)
def test_a_level_has_the_digits_its_span_needs(low: float, high: float, words: str) -> None:
    assert charts.level({"low": low, "high": high, "quantity_unit": "°C"}) == words


def test_the_terms_text_sums_to_the_capacity_it_names() -> None:
    terms = (
        doc.Term(name="heaters", value_w=2100.0, u_w=20.0),
        doc.Term(name="envelope", value_w=230.0, u_w=15.0),
        doc.Term(name="storage", value_w=-30.0, u_w=10.0),
    )
    picture = charts.terms(builders.a_result_point(terms=terms))
    said = said_by(picture).replace("−", "-")
    values = [int(value.replace(",", "")) for value in re.findall(r"(-?[\d,]+) W plus", said)]
    assert values == [2100, 230, -30, 2300]
    assert "Heat into the room, and the sum the unit removed (W)" in text_of(picture)


def test_the_shortfalls_bars_run_from_the_claim_to_the_measured_value() -> None:
    steps = (
        doc.Step(name="Claim", value_w=2600.0, u_w=0.0, kind="claim", because=""),
        doc.Step(name="Outdoor temperature", value_w=-200.0, u_w=30.0, kind="modelled", because=""),
        doc.Step(name="Remainder", value_w=-100.0, u_w=40.0, kind="remainder", because=""),
    )
    drawn = charts.shortfall(builders.a_result_point(shortfall=steps))
    assert "Claim 2,600 W; Outdoor temperature −200 W; Remainder −100 W; Measured 2,300 W" in drawn.says
    names = text_of(drawn)
    assert [name for name in names if name in {step.name for step in steps} | {"Measured"}] == [
        "Claim", "Outdoor temperature", "Remainder", "Measured",
    ]  # fmt: skip
    assert "Capacity (W), not from zero" in names and "0" not in names  # noqa: PT018


def test_every_window_is_drawn_with_its_interval() -> None:
    points = [builders.a_result_point(label=label, capacity_w=value) for label, value in (("A", 2300.0), ("B", 2100.0))]
    drawn = charts.windows_compared(points)
    assert "A 2,300 W plus or minus 60 W; B 2,100 W plus or minus 60 W" in drawn.says
    assert drawn.svg.count("mark-rule role-mark") == 1


def test_the_parts_of_a_result_are_drawn_in_the_readers_unit_of_cooling() -> None:
    imperial, point = Display(power="Btu/h"), builders.a_result_point(capacity_w=1000.0)
    for drawn in (charts.terms(point, imperial), charts.windows_compared([point], imperial)):
        assert "3,412 Btu/h plus or minus 205 Btu/h" in drawn.says  # 60 W × 3.412142
        assert any("(Btu/h)" in text for text in text_of(drawn))
