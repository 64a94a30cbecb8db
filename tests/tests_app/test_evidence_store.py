"""Files are kept once, byte for byte, never whole in memory."""

from __future__ import annotations

import hashlib
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.files.storage import default_storage

from reduction.errors import UnreadableFile
from tests_app import evidence_store

MEGABYTE = 1 << 20


def test_a_file_is_stored_by_its_digest_and_comes_back_byte_for_byte() -> None:
    content = bytes(range(256)) * 5000
    with evidence_store.arriving([content[:7], content[7:]], name="log.csv") as arrival:
        stored_as = evidence_store.keep(arrival)
    assert stored_as.endswith(hashlib.sha256(content).hexdigest())
    assert b"".join(evidence_store.blocks_of(stored_as)) == content


def test_the_same_bytes_are_stored_once(evidence_folder: Path) -> None:
    for name in ("a.csv", "b.csv"):
        with evidence_store.arriving([b"same"], name=name) as arrival:
            evidence_store.keep(arrival)
    assert len([path for path in evidence_folder.rglob("*") if path.is_file()]) == 1


def test_what_is_not_kept_leaves_nothing(evidence_folder: Path, settings) -> None:
    with evidence_store.arriving([b"passing"], name="log.csv") as arrival:
        assert arrival.path.read_bytes() == b"passing"
    assert list(settings.PARTIAL_UPLOAD_DIR.iterdir()) == []
    assert not evidence_folder.exists()


def test_what_a_process_that_died_left_is_swept_and_nothing_newer(settings) -> None:
    scratch = settings.PARTIAL_UPLOAD_DIR / "arriving-x"
    scratch.mkdir(parents=True)
    (scratch / "half.csv").write_bytes(b"half")
    made = datetime.fromtimestamp(scratch.stat().st_mtime, UTC)
    assert evidence_store.sweep(before=made) == 0
    assert evidence_store.sweep(before=made + timedelta(seconds=1)) == 1
    assert list(settings.PARTIAL_UPLOAD_DIR.iterdir()) == []


def test_an_empty_file_is_refused_with_what_to_do() -> None:
    sentence = r"found “no bytes”.*Export it again"
    with pytest.raises(UnreadableFile, match=sentence), evidence_store.arriving([], name="log.csv"):
        pass


def test_a_file_too_large_is_refused_before_it_is_whole(settings) -> None:
    settings.MAX_UPLOAD_BYTES = 2 * MEGABYTE
    taken = []

    def endless() -> Iterator[bytes]:
        while True:
            taken.append(1)
            yield bytes(MEGABYTE)

    sentence = r"more than 2 MB.*Split it by day"
    with pytest.raises(UnreadableFile, match=sentence), evidence_store.arriving(endless(), name="log.csv"):
        pass
    assert len(taken) == 3


def test_a_large_file_is_never_whole_in_memory() -> None:
    block = bytes(MEGABYTE)
    tracemalloc.start()
    with evidence_store.arriving((block for _ in range(100)), name="log.csv") as arrival:
        stored_as = evidence_store.keep(arrival)
    digest = hashlib.sha256()
    for part in evidence_store.blocks_of(stored_as):
        digest.update(part)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert digest.hexdigest() == arrival.sha256
    assert peak < 8 * MEGABYTE


def test_parts_join_in_the_order_of_their_bytes() -> None:
    from django.core.files.base import ContentFile

    for offset, part in ((1_000_000_000, b"last"), (0, b"first"), (9, b"middle")):
        evidence_store.keep_part("x", offset, ContentFile(part))
    assert b"|".join(evidence_store.blocks_of_parts("x")) == b"first|middle|last"
    evidence_store.forget_parts("x")
    assert list(evidence_store.blocks_of_parts("x")) == []
    assert not default_storage.exists("partial/x")
