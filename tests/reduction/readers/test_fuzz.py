"""Mutated files: a log or a sentence, never a crash, a hang or a hunger for memory.

`FUZZ_FILES=20000` runs the long form; the seed is fixed, so a failure can be looked at again.
"""

from __future__ import annotations

import os
import random
import resource
import time
from collections.abc import Iterator
from pathlib import Path

from reduction.errors import ReductionError
from reduction.readers import describe, read_logs
from reduction.readers.table import Log

FOLDER = Path(__file__).parents[3] / "fixtures" / "logs"
FILES = int(os.environ.get("FUZZ_FILES", "1500"))
SEED = 20260714
LONGEST_S = 2.0
MOST_BYTES = 256 << 20


def flipped(data: bytes, rng: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4, 16))):
        if changed:
            changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def cut(data: bytes, rng: random.Random) -> bytes:
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return rng.choice((data[:a], data[a:], data[:a] + data[b:]))


def doubled(data: bytes, rng: random.Random) -> bytes:
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return rng.choice((data + data, data[:b] + data[a:]))


def shuffled(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    rng.shuffle(lines)
    return b"\n".join(lines)


def headings_swapped(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    mark = rng.choice((b",", b";", b"\t", b"|"))
    fields = lines[0].split(mark)
    rng.shuffle(fields)
    return b"\n".join([mark.join(fields), *lines[1:]])


def sprinkled(data: bytes, rng: random.Random) -> bytes:
    odd = rng.choice(
        (
            b'"',
            b"\0",
            b"\r",
            b"\n",
            b",",
            b";",
            b"\xff\xfe",
            b"\xef\xbb\xbf",
            b"-",
            b"1e308",
            b"nan",
            b"99999999999",
            b"%",
        )
    )
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(data) + 1)
        data = data[:at] + odd + data[at:]
    return data


MUTATIONS = (flipped, cut, doubled, shuffled, headings_swapped, sprinkled)


def mutants(count: int) -> Iterator[tuple[str, bytes]]:
    rng = random.Random(SEED)
    seeds = [(p.name, p.read_bytes()) for p in sorted(FOLDER.iterdir()) if not p.name.endswith((".json", ".md"))]
    for number in range(count):
        name, data = rng.choice(seeds)
        for _ in range(rng.choice((1, 1, 2, 3))):
            data = rng.choice(MUTATIONS)(data, rng)
        yield f"{number}_{name}", data


def assert_sound(log: Log) -> None:
    for column in log.columns:
        assert column.time_s.shape == column.values.shape
        assert all(a < b for a, b in zip(column.time_s[:-1], column.time_s[1:], strict=True))
    assert describe(log)


def read_or_refuse(path: Path, name: str) -> tuple[tuple[Log, ...], str]:
    try:
        return read_logs(path, name=name, time_zone="America/New_York"), ""
    except ReductionError as error:
        return (), str(error)


def test_a_mutated_file_is_read_or_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "mutant"
    read = refused = 0
    read_or_refuse(FOLDER / "wide_iso_utc.csv", "warm")
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for name, data in mutants(FILES):
        path.write_bytes(data)
        began = time.process_time()
        logs, refusal = read_or_refuse(path, name)
        assert time.process_time() - began < LONGEST_S, name
        assert "no reader here understands" not in refusal, f"{name}: {refusal}"
        for log in logs:
            assert_sound(log)
        read += bool(logs)
        refused += bool(refusal)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - held) << 10
    assert read > FILES / 4
    assert refused > FILES / 20
    assert grown < MOST_BYTES
