"""Every file in fixtures/logs reads as the JSON beside it says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reduction.errors import ReductionError
from reduction.readers import read_logs
from reduction.readers.table import Column, Log
from reduction.readers.vocabulary import to_si
from reduction.session import Profile

FOLDER = Path(__file__).parents[3] / "fixtures" / "logs"
EXPECTED = sorted(FOLDER.glob("*.expected.json"))


def instants(texts: list[str]) -> np.ndarray:
    return np.array([t.rstrip("Z") for t in texts], "datetime64[ms]").astype(np.int64) / 1000


def assert_column(column: Column, expected: dict[str, Any]) -> None:
    if "times" in expected:
        assert column.time_s.tolist() == pytest.approx(instants(expected["times"]).tolist(), abs=1e-3)
    if "values" in expected:
        values = [np.nan if v is None else v for v in expected["values"]]
        assert column.values.tolist() == pytest.approx(values, rel=1e-9, nan_ok=True)
    if "si" in expected:
        values, _ = to_si(column.values, column.quantity_unit, column.is_difference)
        assert values.tolist() == pytest.approx(expected["si"], rel=1e-5, abs=0.005)
    assert column.quantity_unit == expected.get("unit", column.quantity_unit)
    assert column.role == expected.get("role", column.role)
    assert column.kind == expected.get("kind", column.kind)
    assert column.is_difference == expected.get("is_difference", column.is_difference)
    assert column.role_guess.sure <= expected.get("sure_at_most", 1.0)
    assert column.role_guess.because
    assert column.unit_guess.because


def assert_log(log: Log, expected: dict[str, Any]) -> None:
    columns = {column.name: column for column in log.columns}
    assert log.shape == expected.get("shape", log.shape)
    for name, wanted in expected["columns"].items():
        assert name in columns
        assert_column(columns[name], wanted)
    if "faults" in expected:
        found: dict[str, int] = {}
        for fault in log.faults:
            found[fault.code] = found.get(fault.code, 0) + fault.count
        assert found == expected["faults"]
    if "questions" in expected:
        assert [question.what for question in log.questions] == expected["questions"]
    for what, value in expected.get("guesses", {}).items():
        assert value in [guess.value for guess in log.guesses if guess.what == what]


@pytest.mark.parametrize("path", EXPECTED, ids=lambda path: path.name.removesuffix(".expected.json"))
def test_an_oddity_reads_as_the_file_beside_it_says(path: Path) -> None:
    expected = json.loads(path.read_text(encoding="utf-8"))
    file = path.with_name(path.name.removesuffix(".expected.json"))
    profile = Profile.model_validate(expected.get("profile", {}))
    zone = expected.get("time_zone", "UTC")
    if "error" in expected:
        with pytest.raises(ReductionError) as refused:
            read_logs(file, profile=profile, time_zone=zone)
        assert expected["error"] in str(refused.value)
        return
    logs = read_logs(file, profile=profile, time_zone=zone)
    if "logs" in expected:
        assert [log.path for log in logs] == list(expected["logs"])
        for log in logs:
            assert_log(log, expected["logs"][log.path])
    else:
        assert len(logs) == 1
        assert_log(logs[0], expected)


def test_the_folder_holds_at_least_sixty_oddities_and_each_says_why() -> None:
    whys = [json.loads(path.read_text(encoding="utf-8"))["why"] for path in EXPECTED]
    assert len(whys) >= 60
    assert all(len(why) > 10 for why in whys)


def test_no_file_in_the_folder_goes_unread() -> None:
    files = {p.name for p in FOLDER.iterdir()} - {"README.md"}
    named = {p.name for p in EXPECTED}
    assert files == named | {name.removesuffix(".expected.json") for name in named}
