"""The command line as a person runs it."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from reduction.__main__ import main
from reduction.session import Result
from tests.practice_mapping import session_of

SOURCE = Path(__file__).resolve().parents[2] / "fixtures" / "independent" / "p1"


def a_session_in(folder: Path, source: Path) -> Path:
    """Copy an independent session's files and write its document beside them."""
    shutil.copytree(source / "files", folder / "files")
    session = session_of(json.loads((source / "case.json").read_text(encoding="utf-8")))
    path = folder / "SESSION.json"
    path.write_text(session.model_dump_json(), encoding="utf-8")
    return path


@pytest.fixture
def session_path(tmp_path: Path) -> Path:
    return a_session_in(tmp_path, SOURCE)


def test_reduce_prints_a_table_with_rounded_figures_and_reasons(
    session_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reduce", str(session_path)]) == 0
    table = capsys.readouterr().out
    assert "Cooling capacity (sensible)  1,6" in table
    assert "Btu/h" in table
    assert "EER (this condition)" in table
    assert "Uncertainty budget" in table
    assert "coil near freezing" in table
    assert "Synthetic data" in table


def test_reduce_writes_the_full_result_as_json(
    session_path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reduce", str(session_path), "--json", str(tmp_path / "out.json")]) == 0
    assert "Cooling capacity" in capsys.readouterr().out
    assert main(["reduce", str(session_path), "--json", "-"]) == 0
    printed = capsys.readouterr().out
    assert json.loads(printed) == json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert Result.model_validate_json(printed).points[0].usable


def test_nothing_usable_is_exit_code_one_with_the_reason(
    session_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads(session_path.read_text(encoding="utf-8"))
    document["windows"] = [{"start_utc": "2025-01-01T00:00:00Z", "end_utc": "2025-01-01T02:00:00Z"}]
    session_path.write_text(json.dumps(document), encoding="utf-8")
    assert main(["reduce", str(session_path)]) == 1
    assert "lies outside" in capsys.readouterr().out


def test_bad_input_is_exit_code_two_with_one_sentence_on_stderr(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reduce", str(tmp_path / "nix.json")]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "nix.json" in err


def test_check_says_what_is_read_and_goes_on_after_a_bad_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    empty = tmp_path / "empty.csv"
    empty.touch()
    assert main(["check", str(empty), str(SOURCE / "files" / "power.csv")]) == 2
    out, err = capsys.readouterr()
    assert "empty.csv" in err
    assert "AC (W): unit_power" in out


def test_check_of_good_files_is_exit_code_nought(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--time-zone", "America/Denver", str(SOURCE / "files" / "thermo.csv")]) == 0
    assert "supply_temp" in capsys.readouterr().out


def test_the_printed_schemas_accept_a_real_session_and_its_result(
    session_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    schemas = {}
    for of in ("session", "result"):
        assert main(["schema", of]) == 0
        schemas[of] = json.loads(capsys.readouterr().out)
    main(["reduce", str(session_path), "--json", "-"])
    jsonschema.validate(json.loads(capsys.readouterr().out), schemas["result"])
    jsonschema.validate(json.loads(session_path.read_text(encoding="utf-8")), schemas["session"])
    assert main(["schema"]) == 0
    assert {"session", "result"} <= set(json.loads(capsys.readouterr().out))


def test_every_subcommand_has_help() -> None:
    for command in ([], ["reduce"], ["check"], ["schema"]):
        done = subprocess.run(
            [sys.executable, "-m", "reduction", *command, "--help"], capture_output=True, text=True, check=True
        )
        assert "usage: python -m reduction" in done.stdout


def test_a_session_that_characterises_its_room_is_done_when_the_room_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reduce", str(a_session_in(tmp_path, SOURCE.parent / "p5"))]) == 0
    table = capsys.readouterr().out
    assert "The room, from this session" in table
    assert "EER" not in table
