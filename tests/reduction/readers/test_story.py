"""What is told of a file, and how the same logger is known again."""

from __future__ import annotations

from pathlib import Path

import pytest

from reduction.errors import UnreadableTime
from reduction.readers import describe, layout_fingerprint, read_log

FOLDER = Path(__file__).parents[3] / "fixtures" / "logs"


def test_the_story_says_every_guess_with_its_evidence() -> None:
    story = describe(read_log(FOLDER / "preamble_fahrenheit_12h.csv", time_zone="Europe/Berlin"))
    for sentence in (
        "wide table",
        "2026-07-14 04:05:00 to 2026-07-14 16:05:00 UTC",
        "time_zone: GMT-04:00 (97%) – heading “Date Time, GMT-04:00”",
        "date_order: month_first (100%) – a second number of 14 can only be a day",
        "RH, %: room_rh",
        "unit °F (98%) – “Temp, °F (S/N 1001)”: unit “°F” at the end of the heading",
        "left out: “#” counts the rows",
        "fault: 1 row(s) do not have 4 fields and are left out; the first is row 5",
    ):
        assert sentence in story


def test_the_story_ends_with_what_is_to_be_settled() -> None:
    story = describe(read_log(FOLDER / "four_heading_rows.dat"))
    assert story.splitlines()[-1].startswith("  to settle: stamp: interval_end or interval_start?")


def test_the_session_s_zone_is_said_where_no_stamp_carries_one() -> None:
    story = describe(read_log(FOLDER / "semicolon_decimal_comma.csv", time_zone="Europe/Berlin"))
    assert "time_zone: Europe/Berlin (60%) – no stamp, heading or line of the file carries a zone" in story


def test_row_numbers_are_those_of_an_editor() -> None:
    faults = {f.code: f.first_row for f in read_log(FOLDER / "junk_lines.csv").faults}
    lines = (FOLDER / "junk_lines.csv").read_text().split("\n")
    assert lines[faults["repeated_heading"] - 1] == "time,ac_W,room_C"
    assert lines[faults["row_without_time"] - 1] == "Total,,12.4"
    assert lines[faults["truncated_last_line"] - 1] == "2026-07-14T18:05:4"


def test_a_question_that_stops_the_reading_travels_with_the_error() -> None:
    with pytest.raises(UnreadableTime, match="found “07/08/2026 18:05”") as stopped:
        read_log(FOLDER / "ambiguous_dates.csv")
    assert stopped.value.question.options == ("day_first", "month_first")


HEAD = "time,room_C,ac_W\n"


def a_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (HEAD + "2027-01-02T00:00:00Z,21.5,55\n2027-01-02T00:00:10Z,21.6,54\n", True),
        ("time,ac_W,room_C\n2027-01-02T00:00:00Z,55,21.5\n2027-01-02T00:00:10Z,54,21.6\n", True),
        ("time,room_C,ac_W,hall_C\n2027-01-02T00:00:00Z,21.5,55,20\n2027-01-02T00:00:10Z,21.6,54,20\n", False),
        ("time;room_C;ac_W\n2027-01-02T00:00:00Z;21.5;55\n2027-01-02T00:00:10Z;21.6;54\n", False),
    ],
    ids=["other day", "other order", "one sensor more", "other delimiter"],
)
def test_the_same_layout_has_the_same_fingerprint(tmp_path: Path, other: str, same: bool) -> None:
    first = layout_fingerprint(
        read_log(a_file(tmp_path, HEAD + "2026-07-14T18:05:00Z,24.6,742\n2026-07-14T18:05:10Z,24.7,741\n"))
    )
    assert (layout_fingerprint(read_log(a_file(tmp_path, other))) == first) == same
