"""Files of one place each, whose headings do not say which: the file's name does."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from reduction.align.channels import series_of
from reduction.errors import InvalidSession
from reduction.readers import read_log, read_logs
from reduction.session import Channel, Role
from tests.reduction.signals import a_session

ROWS = "".join(f"2026-07-14T18:{minute:02}:00Z,{22 + minute % 3 / 10}\n" for minute in range(10))


def an_archive(folder: Path) -> Path:
    path = folder / "export.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for place, heading in (("Hallway", "Temperature_Celsius"), ("Condenser inlet", "Temperature_Celsius")):
            archive.writestr(f"{place}.csv", f"Timestamp,{heading}\n{ROWS}")
    return path


def test_a_heading_that_names_no_place_leaves_the_role_to_the_name_of_the_file(tmp_path: Path) -> None:
    columns = [log.columns[0] for log in read_logs(an_archive(tmp_path))]
    assert [(c.name, c.role) for c in columns] == [
        ("Condenser inlet", Role.CONDENSER_INLET_TEMP),
        ("Hallway", Role.ADJACENT_TEMP),
    ]


def test_temperature_and_humidity_of_one_place_both_take_the_name_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "Hallway.csv"
    path.write_text("Timestamp,Temperature_Celsius,Relative_Humidity(%)\n" + ROWS.replace("\n", ",40.5\n"))
    roles = [column.role for column in read_log(path).columns]
    assert roles == [Role.ADJACENT_TEMP, Role.ADJACENT_RH]


def test_a_heading_that_names_a_place_is_kept_whatever_the_file_is_called(tmp_path: Path) -> None:
    path = tmp_path / "outdoor.csv"
    path.write_text("Timestamp,Room (°C)\n" + ROWS)
    assert [(c.name, c.role) for c in read_log(path).columns] == [("Room (°C)", Role.ROOM_TEMP)]


def test_a_channel_may_name_the_heading_in_the_file_or_the_archive_that_holds_it(tmp_path: Path) -> None:
    logs = read_logs(an_archive(tmp_path), name="export.zip")
    inside = Channel(file="export.zip/Hallway.csv", column="Temperature_Celsius", role=Role.ADJACENT_TEMP)
    archive = Channel(file="export.zip", column="Condenser inlet", role=Role.CONDENSER_INLET_TEMP)
    series, _, _ = series_of(a_session(channels=(inside, archive)), logs)
    assert [s.file for s in series] == ["export.zip/Hallway.csv", "export.zip/Condenser inlet.csv"]


def test_a_heading_that_several_files_of_an_archive_share_is_refused(tmp_path: Path) -> None:
    logs = read_logs(an_archive(tmp_path), name="export.zip")
    channel = Channel(file="export.zip", column="Temperature_Celsius", role=Role.ROOM_TEMP)
    with pytest.raises(InvalidSession, match="Name the file inside the archive"):
        series_of(a_session(channels=(channel,)), logs)
