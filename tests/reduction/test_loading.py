"""A session document as text: every fault in one sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from reduction.errors import InvalidSession, UnreadableFile
from reduction.loading import load_session, session_from_document, session_from_json
from reduction.planning.plan_loading import load_plan_request
from reduction.season.season_report import load_result

GOOD = {
    "name": "bench",
    "unit": {"model": "Norvane W9", "kind": "window"},
    "room": {"volume_m3": 30},
    "files": [{"path": "log.csv"}],
}


def sentence(document: object) -> str:
    with pytest.raises(InvalidSession) as caught:
        session_from_document(document)
    return str(caught.value)


def test_a_good_document_is_a_session() -> None:
    assert session_from_document(GOOD).room.volume_m3 == 30.0


def test_a_wrong_word_is_named_with_its_path_and_what_may_stand_there() -> None:
    said = sentence(GOOD | {"unit": {"model": "W9", "kind": "windw"}})
    assert said.startswith("SESSION.json, column “unit.kind”: found “windw”, expected 'window', 'through_wall'")


def test_a_missing_field_a_surplus_one_and_an_impossible_value_are_all_said_at_once() -> None:
    said = sentence({**GOOD, "room": {"volume_m3": -3}, "colour": "red", "files": [{}]})
    assert "room.volume_m3" in said
    assert "greater than 0" in said
    assert "files[0].path: a value" in said
    assert "colour: no such field" in said


def test_of_many_faults_three_are_worded_and_the_rest_counted() -> None:
    said = sentence(GOOD | dict.fromkeys("abcdefgh", 1))
    assert said.endswith("And 5 more.")


def test_a_time_without_a_zone_is_refused() -> None:
    said = sentence(GOOD | {"windows": [{"start_utc": "2026-07-14T12:00:00", "end_utc": "2026-07-14T13:00:00Z"}]})
    assert "windows[0].start_utc" in said
    assert "timezone" in said


@pytest.mark.parametrize("document", [[], "text", 3, None])
def test_json_that_is_no_object_is_refused(document: object) -> None:
    assert "an object with the fields of a session" in sentence(document)


def test_another_format_is_refused_by_name() -> None:
    assert "expected cooling-ledger-session/1" in sentence(GOOD | {"format": "practice-case/1"})


@pytest.mark.parametrize(("text", "found"), [("", "nothing"), ('{"name": ', '{"name":'), ("[" * 100_000, "[[[")])
def test_text_that_is_no_json_is_refused(text: str, found: str) -> None:
    with pytest.raises(UnreadableFile, match=r"expected JSON") as caught:
        session_from_json(text)
    assert f"found “{found}" in str(caught.value)


def test_a_path_that_is_no_document_is_refused(tmp_path: Path) -> None:
    (tmp_path / "log.bin").write_bytes(b"\xff\xfe\x00\x81")
    for path in (tmp_path / "nix.json", tmp_path, tmp_path / "log.bin"):
        with pytest.raises(UnreadableFile, match="expected a session document in JSON"):
            load_session(path)


@pytest.mark.parametrize("load", [load_session, load_plan_request, load_result])
def test_every_document_is_refused_in_the_same_words_when_it_is_binary_or_broken(
    load: Callable[[Path], object], tmp_path: Path
) -> None:
    (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00\x81")
    (tmp_path / "broken.json").write_text('{"a": 1,\n "b" 2}')
    with pytest.raises(UnreadableFile, match=r"binary\.json: found “no text”, expected a .* in JSON"):
        load(tmp_path / "binary.json")
    with pytest.raises(UnreadableFile, match=r"broken\.json, row 2: found .* expected JSON\. Expecting ':' delimiter"):
        load(tmp_path / "broken.json")
