"""Wall clocks against zoneinfo, over every kind of clock change."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from reduction.errors import UnreadableTime
from reduction.readers import read_log
from reduction.readers.local_time import find_zone, place_on_utc

CHANGES = {  # instants at which zoneinfo's clocks change: back, forward, by half an hour, south of the equator
    ("America/New_York", "2026-11-01T06:00"),
    ("America/New_York", "2026-03-08T07:00"),
    ("Europe/Berlin", "2026-10-25T01:00"),
    ("Europe/Berlin", "2027-03-28T01:00"),
    ("Australia/Lord_Howe", "2026-04-04T15:00"),
    ("Australia/Lord_Howe", "2026-10-03T15:30"),
    ("America/Santiago", "2026-04-05T03:00"),
    ("Asia/Kolkata", "2026-07-01T00:00"),
}


def wall_clock(utc_s: np.ndarray, zone: str) -> np.ndarray:
    """What zoneinfo says that a clock on the wall shows, in seconds since 1970 without a zone."""
    local = [datetime.fromtimestamp(t, ZoneInfo(zone)).replace(tzinfo=UTC) for t in utc_s.tolist()]
    return np.array([t.timestamp() for t in local])


@given(
    change=st.sampled_from(sorted(CHANGES)),
    step_s=st.sampled_from([1, 10, 60, 300]),
    before=st.integers(1, 400),
    after=st.integers(1, 400),
)
@example(change=("America/New_York", "2026-11-01T06:00"), step_s=60, before=200, after=10)
@example(change=("America/New_York", "2026-11-01T06:00"), step_s=60, before=10, after=200)
@settings(max_examples=60, deadline=None)
def test_a_log_through_a_clock_change_comes_back(change: tuple[str, str], step_s: int, before: int, after: int) -> None:
    zone, instant = change
    at = datetime.fromisoformat(instant).replace(tzinfo=UTC).timestamp()
    utc_s = at + step_s * np.arange(-before, after)
    placed = place_on_utc(wall_clock(utc_s, zone), find_zone(zone), "log.csv", "time")
    assert placed.time_s.tolist() == utc_s.tolist()


@pytest.mark.parametrize("kept", [slice(None, None, -1), "sorted"], ids=["reversed", "sorted"])
def test_a_repeated_hour_out_of_order_is_refused(kept: object) -> None:
    at = datetime(2026, 11, 1, 6, tzinfo=UTC).timestamp()
    local = wall_clock(at + 60.0 * np.arange(-90, 90), "America/New_York")
    local = np.sort(local) if kept == "sorted" else local[::-1]
    with pytest.raises(UnreadableTime, match="in the hour that the clock shows twice"):
        place_on_utc(local, find_zone("America/New_York"), "log.csv", "time")


def test_a_logger_that_never_changes_its_clock_is_refused_with_the_way_out() -> None:
    at = datetime(2026, 11, 1, 4, tzinfo=UTC).timestamp()
    standard = at - 5 * 3600 + 60.0 * np.arange(300)
    with pytest.raises(UnreadableTime, match="State the fixed offset the logger's clock kept"):
        place_on_utc(standard, find_zone("America/New_York"), "log.csv", "time")
    assert place_on_utc(standard, find_zone("UTC-5"), "log.csv", "time").time_s[0] == at


def test_stamps_of_the_hour_that_is_skipped_are_counted_and_keep_the_offset_before() -> None:
    local = datetime(2026, 3, 8, 2, 30, tzinfo=UTC).timestamp() + 60.0 * np.arange(5)
    placed = place_on_utc(local, find_zone("America/New_York"), "log.csv", "time")
    assert [(f.code, f.count) for f in placed.faults] == [("nonexistent_local_time", 5)]
    assert placed.time_s[0] == datetime(2026, 3, 8, 7, 30, tzinfo=UTC).timestamp()


@pytest.mark.parametrize("name", ["UTC-5", "utc", "GMT+05:30", "+0200", "Europe/Madrid"])
def test_a_zone_is_named_or_a_fixed_offset(name: str) -> None:
    assert find_zone(name).utcoffset(datetime(2026, 1, 1)) is not None  # noqa: DTZ001 - a wall clock


@pytest.mark.parametrize("name", ["Mars/Olympus", "", "../etc/passwd", "UTC+99"])
def test_what_is_no_zone_is_refused(name: str) -> None:
    with pytest.raises(UnreadableTime, match="an IANA zone or a fixed offset"):
        find_zone(name)


def test_a_log_that_lists_one_channel_after_another_is_told_apart_by_channel(tmp_path: Path) -> None:
    at = datetime(2026, 11, 1, 6, tzinfo=UTC).timestamp()
    utc_s = at + 60.0 * np.arange(-90, 90)
    stamps = [
        datetime.fromtimestamp(t, UTC).strftime("%Y-%m-%d %H:%M:%S") for t in wall_clock(utc_s, "America/New_York")
    ]
    rows = [f"{name},{stamp},{value}" for name, value in (("room_c", 22.5), ("hall_c", 24.5)) for stamp in stamps]
    path = tmp_path / "events.csv"
    path.write_text("\n".join(["name,time,value", *rows]))
    log = read_log(path, time_zone="America/New_York")
    assert [column.time_s.tolist() for column in log.columns] == [utc_s.tolist()] * 2
    assert any("order of each channel" in guess.because for guess in log.guesses)
