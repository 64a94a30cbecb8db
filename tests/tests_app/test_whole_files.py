"""A file in the store is whole under its name, or not there."""

from __future__ import annotations

import errno
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from tests_app import evidence_store
from tests_app.actions import ledger
from tests_app.whole_files import HALVES, WholeFiles, written_whole


def in_store(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_store_of_this_installation_is_such_a_one() -> None:
    assert isinstance(default_storage, WholeFiles) or isinstance(default_storage._wrapped, WholeFiles)


def test_a_file_gets_its_name_and_nothing_is_left_beside_it(evidence_folder: Path) -> None:
    assert default_storage.save("a/b.csv", ContentFile(b"t,x\n")) == "a/b.csv"
    assert in_store(evidence_folder) == {"a/b.csv": b"t,x\n"}


def test_a_file_is_never_written_over(evidence_folder: Path) -> None:
    default_storage.save("a.csv", ContentFile(b"first"))
    other = default_storage.save("a.csv", ContentFile(b"second"))
    assert other != "a.csv"
    assert in_store(evidence_folder) == {"a.csv": b"first", other: b"second"}


@pytest.mark.parametrize("where", ["links", "no links"])
def test_who_comes_second_in_a_race_takes_another_name(
    where: str, evidence_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other process takes the name after it was looked at and found free."""
    if where == "no links":
        monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(OSError(errno.EPERM, "no links here")))
    named = WholeFiles._named

    def late(store: WholeFiles, half: str, name: str) -> str:
        (evidence_folder / "a.csv").write_bytes(b"theirs")
        return named(store, half, name)

    monkeypatch.setattr(WholeFiles, "_named", late)
    ours = default_storage.save("a.csv", ContentFile(b"ours"))
    assert in_store(evidence_folder) == {"a.csv": b"theirs", ours: b"ours"}


def test_a_process_that_dies_while_it_writes_leaves_no_file_by_that_name(
    evidence_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(WholeFiles, "_named", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    monkeypatch.setattr(WholeFiles, "delete", lambda *_: None)  # killed: nothing more is done
    with pytest.raises(KeyboardInterrupt):
        default_storage.save("a.csv", ContentFile(b"whole"))
    (half,) = in_store(evidence_folder)
    assert half.startswith(f"{HALVES}/")


@pytest.mark.django_db
def test_a_half_that_is_left_is_told_of_and_swept_once_it_is_old(evidence_folder: Path) -> None:
    half, now = evidence_folder / HALVES / "x", datetime.now(UTC)
    half.parent.mkdir(parents=True)
    half.write_bytes(b"hal")
    assert list(ledger.left_over()) == []
    assert evidence_store.sweep(before=now - timedelta(minutes=1)) == 0
    assert list(ledger.left_over(now + timedelta(days=2))) == [f"{HALVES}/x: half a file"]
    assert evidence_store.sweep(before=now + timedelta(minutes=1)) == 1
    assert in_store(evidence_folder) == {}


def test_a_file_for_a_person_is_whole_or_leaves_the_one_before_it(tmp_path: Path) -> None:
    path = tmp_path / "kept.zip"
    path.write_bytes(b"yesterday's")

    def runs_out_of_room() -> None:
        with written_whole(path) as file:
            file.write(b"hal")
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        runs_out_of_room()
    assert in_store(tmp_path) == {"kept.zip": b"yesterday's"}
    with written_whole(path, mode=0o600) as file:
        file.write(b"today's")
    assert in_store(tmp_path) == {"kept.zip": b"today's"}
    assert path.stat().st_mode & 0o777 == 0o600
