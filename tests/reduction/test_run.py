"""The whole way from a document and files to a result, and what bad input meets on it."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reduction.align.intake import session_digest
from reduction.errors import InvalidSession, NothingToReduce, ReductionError, UnreadableFile
from reduction.loading import session_from_document
from reduction.method import METHOD_VERSION
from reduction.run import reduce_session
from reduction.session import Result
from tests.practice_mapping import session_of

SOURCE = Path(__file__).resolve().parents[2] / "fixtures" / "independent" / "p1"
Edit = Callable[[dict[str, Any]], Any]


@pytest.fixture
def document(tmp_path: Path) -> dict[str, Any]:
    shutil.copytree(SOURCE / "files", tmp_path / "files")
    session = session_of(json.loads((SOURCE / "case.json").read_text(encoding="utf-8")))
    found: dict[str, Any] = session.model_dump(mode="json")
    return found | {"settings": found["settings"] | {"monte_carlo_draws": 2000}}


def run(document: dict[str, Any], base: Path) -> Result:
    return reduce_session(session_from_document(document), base=base)


def codes(result: Result) -> set[str]:
    return {f.code for f in result.findings} | {f.code for p in result.points for f in p.findings}


def without(document: dict[str, Any], *roles: str) -> dict[str, Any]:
    return document | {"channels": [c for c in document["channels"] if c["role"] not in roles]}


def test_a_result_proves_its_inputs(document: dict[str, Any], tmp_path: Path) -> None:
    result = run(document, tmp_path)
    for file in result.files:
        assert file.sha256 == hashlib.sha256((tmp_path / file.path).read_bytes()).hexdigest()
    assert result.method_version == METHOD_VERSION
    assert result.session_sha256 == session_digest(session_from_document(document))


def test_the_same_input_gives_the_same_result(document: dict[str, Any], tmp_path: Path) -> None:
    assert run(document, tmp_path) == run(document, tmp_path)


def test_a_session_s_digest_does_not_depend_on_the_order_of_its_fields(document: dict[str, Any]) -> None:
    backwards = dict(reversed(list(document.items())))
    assert session_digest(session_from_document(backwards)) == session_digest(session_from_document(document))


def test_without_windows_the_steady_ones_are_proposed(document: dict[str, Any], tmp_path: Path) -> None:
    (point, *_) = run(document | {"windows": []}, tmp_path).points
    assert point.window.proposed
    assert point.window.steady


def test_without_channels_the_proposed_roles_are_used_and_said(document: dict[str, Any], tmp_path: Path) -> None:
    given, guessed = run(document, tmp_path), run(document | {"channels": []}, tmp_path)
    assert guessed.points[0].capacity_w == pytest.approx(given.points[0].capacity_w, abs=20.0)
    assert "roles_guessed" in codes(guessed)


def test_windows_with_one_label_are_told_apart(document: dict[str, Any], tmp_path: Path) -> None:
    (window,) = document["windows"]
    nameless = window | {"label": ""}
    labels = [p.label for p in run(document | {"windows": [window, window, nameless]}, tmp_path).points]
    assert labels == ["steady", "steady (2)", "window 3"]


def test_points_of_one_session_share_the_errors_of_room_and_instruments(
    document: dict[str, Any], tmp_path: Path
) -> None:
    (window,) = document["windows"]
    halves = [
        window | {"label": "a", "end_utc": "2024-07-25T18:20:00Z"},
        window | {"label": "b", "start_utc": "2024-07-25T18:30:00Z"},
    ]
    result = run(document | {"windows": halves}, tmp_path)
    covariance = np.array(result.capacity_covariance_w2)
    assert np.diag(covariance) == pytest.approx([p.capacity_u_w**2 for p in result.points])
    assert 0.0 < covariance[0, 1] == covariance[1, 0]
    assert covariance[0, 1] < covariance[0, 0]


def test_progress_is_told_from_nought_to_one(document: dict[str, Any], tmp_path: Path) -> None:
    told: list[float] = []
    reduce_session(session_from_document(document), base=tmp_path, progress=lambda stage, part: told.append(part))
    assert told == sorted(told)
    assert (told[0], told[-1]) == (0.0, 1.0)


def test_fahrenheit_and_celsius_files_of_one_run_give_one_point(document: dict[str, Any], tmp_path: Path) -> None:
    before = run(document, tmp_path).points[0]
    path = tmp_path / "files" / "thermo.csv"
    rows = [line.split(",") for line in path.read_text(encoding="utf-8-sig").splitlines() if line.count(",") > 5]
    celsius = [[row[0], *(f"{(float(v) - 32) / 1.8:.4f}" for v in row[1:-1]), row[-1]] for row in rows[1:]]
    heading = [name.replace("°F", "°C") for name in rows[0]]
    path.write_text("\n".join(",".join(row) for row in [heading, *celsius]) + "\n", encoding="utf-8")
    channels = [
        {k: v.replace("°F", "°C") if isinstance(v, str) else v for k, v in c.items()} for c in document["channels"]
    ]
    after = run(document | {"channels": channels}, tmp_path).points[0]
    assert after.capacity_w == pytest.approx(before.capacity_w, abs=0.05)
    assert after.capacity_u95_w == pytest.approx(before.capacity_u95_w, rel=0.01)


@pytest.mark.parametrize(
    ("roles", "code", "usable"),
    [
        (("unit_power",), "no_unit_power", True),
        (("outdoor_temp",), "condenser_inlet_for_outdoor", True),
        (("outdoor_temp", "condenser_inlet_temp"), "outdoor_temperature_missing", False),
        (("adjacent_temp",), "neighbour_temperature_missing", True),
        (("room_temp",), "return_air_for_room", True),
        (("room_temp", "return_temp"), "no_room_temperature", False),
    ],
)
def test_a_missing_channel_is_said_and_never_guessed_in_silence(
    document: dict[str, Any], tmp_path: Path, roles: tuple[str, ...], code: str, usable: bool
) -> None:
    result = run(without(document, *roles), tmp_path)
    assert code in codes(result)
    assert [p.usable for p in result.points] == [usable]


@pytest.mark.parametrize(
    ("start", "end", "code"),
    [
        ("2025-01-01T00:00:00Z", "2025-01-01T02:00:00Z", "window_outside_data"),
        ("2024-07-25T18:00:00Z", "2024-07-25T23:00:00Z", "power_mostly_missing"),
        ("2024-07-25T18:00:00Z", "2024-07-25T18:02:00Z", "window_too_short"),
    ],
)
def test_a_window_that_says_nothing_gives_no_usable_point(
    document: dict[str, Any], tmp_path: Path, start: str, end: str, code: str
) -> None:
    result = run(document | {"windows": [{"label": "w", "start_utc": start, "end_utc": end}]}, tmp_path)
    assert code in codes(result)
    assert not any(p.usable for p in result.points)


def test_a_heater_left_out_of_the_session_fails_the_air_side_check(document: dict[str, Any], tmp_path: Path) -> None:
    assert "cross_check_failed" in codes(run(without(document, "heater_constant_power"), tmp_path))


def test_a_claim_no_room_unit_can_have_is_said(document: dict[str, Any], tmp_path: Path) -> None:
    claims = [{"quantity": "capacity", "value": 9e6, "quantity_unit": "Btu/h"}]
    assert "absurd_claim" in codes(run(document | {"unit": document["unit"] | {"claims": claims}}, tmp_path))


BAD: dict[str, tuple[Edit, type[ReductionError], str]] = {
    "no file named": (lambda d: d.update(files=[], channels=[]), NothingToReduce, "found “an empty list”"),
    "a file that is not there": (
        lambda d: d["files"][0].update(path="files/nix.csv"), UnreadableFile, "files/nix.csv: found “no such file”",
    ),
    "a path out of the folder": (
        lambda d: d["files"][0].update(path="../secret.csv"), InvalidSession, "a path inside the folder",
    ),
    "another file than stated": (lambda d: d["files"][0].update(sha256="00"), InvalidSession, "the SHA-256 00"),
    "a column that is not there": (
        lambda d: d["channels"][0].update(column="Nope"), InvalidSession, "Its columns are: AC",
    ),
    "an instrument not listed": (
        lambda d: d["channels"][0].update(instrument="Nope"), InvalidSession, "the id of an instrument",
    ),
    "a column used twice": (lambda d: d["channels"].append(d["channels"][1]), InvalidSession, "2 times"),
    "an instrument listed twice": (lambda d: d["instruments"].append(d["instruments"][1]), InvalidSession, "2 times"),
    "a power in degrees": (
        lambda d: d["channels"][0].update(quantity_unit="°C"), InvalidSession, "a unit of power or energy",
    ),
    "an unknown rating condition": (
        lambda d: d["settings"].update(rating_conditions=["x"]), InvalidSession, "one of us_room",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("edit", "error", "sentence"), BAD.values(), ids=BAD)
def test_bad_input_meets_one_sentence(
    document: dict[str, Any], tmp_path: Path, edit: Edit, error: type[ReductionError], sentence: str
) -> None:
    edit(document)
    with pytest.raises(error, match=sentence.replace("(", r"\(")):
        run(document, tmp_path)


def test_an_empty_log_meets_one_sentence(document: dict[str, Any], tmp_path: Path) -> None:
    (tmp_path / "files" / "power.csv").write_bytes(b"")
    with pytest.raises(UnreadableFile, match=r"files/power\.csv: found “an empty file”"):
        run(document, tmp_path)
