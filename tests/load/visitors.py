"""Visitors who read as fast as the site answers, in a process of their own that knows nothing of it but addresses."""

from __future__ import annotations

import http.client
import random
import threading
import time
from collections import Counter
from dataclasses import dataclass, field

THREADS = 8
GOOD = {200, 304}


@dataclass
class Seen:
    """What visitors saw: how often each status (0 is no answer), how long each answer took, and the entity tags."""

    statuses: Counter[int] = field(default_factory=Counter)
    took_s: list[float] = field(default_factory=list)

    @property
    def good(self) -> int:
        return sum(self.statuses[status] for status in GOOD)

    def percentile_ms(self, percent: float) -> float:
        ordered = sorted(self.took_s)
        return 1000 * ordered[min(int(len(ordered) * percent / 100), len(ordered) - 1)] if ordered else 0.0


def visit(port: int, headers: dict[str, str], addresses: list[str], seconds: float, seed: int) -> Seen:
    """Ask for addresses at random, over some connections at once, until the time is over."""
    end, seen = time.monotonic() + seconds, [Seen() for _ in range(THREADS)]
    readers = [
        threading.Thread(target=_read, args=(port, headers, addresses, end, random.Random(seed + n), seen[n]))
        for n in range(THREADS)
    ]
    for reader in readers:
        reader.start()
    for reader in readers:
        reader.join()
    return Seen(sum((one.statuses for one in seen), Counter()), [took for one in seen for took in one.took_s])


def _read(
    port: int, headers: dict[str, str], addresses: list[str], end: float, chance: random.Random, seen: Seen
) -> None:
    """Read on one connection, kept open; every third time as one who has the page already and packs what comes."""
    connection, tags = http.client.HTTPConnection("127.0.0.1", port, timeout=60), {}
    while time.monotonic() < end:
        address = chance.choice(addresses)
        asked = headers | ({"Accept-Encoding": "gzip"} if chance.random() < 0.5 else {})
        if address in tags and chance.random() < 0.3:
            asked["If-None-Match"] = tags[address]
        began = time.perf_counter()
        try:
            connection.request("GET", address, headers=asked)
            answer = connection.getresponse()
            answer.read()
        except (OSError, http.client.HTTPException):
            connection.close()
            seen.statuses[0] += 1
            continue
        seen.took_s.append(time.perf_counter() - began)
        seen.statuses[answer.status] += 1
        if tag := answer.headers.get("ETag"):
            tags[address] = tag
    connection.close()
