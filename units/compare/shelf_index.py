"""The catalogue's shelf in memory: every row's facets, words and places in each order, as columns.

A process reads the shelf once and again after any change, which one query tells: rows are never edited, a changed unit
gets new ones, and each row carries a random stamp, so that count and sum of the stamps stand for the content.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from threading import Lock
from typing import Any
from uuid import UUID

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from django.db.models import Count, Sum
from numpy.typing import NDArray

from units.models import CatalogueEntry
from units.pooled import BANDS

Mask = NDArray[np.bool_]
Whole = NDArray[np.int64]
Real = NDArray[np.float64]
COLUMN_FACETS = {
    "kind": "kind",
    "compressor": "compressor",
    "refrigerant": "refrigerant",
    "capacity": "capacity_class",
    "voltage": "voltage_class",
    "obtained": "obtained",
    "price": "price_class",
    "sound": "sound_class",
}
BAND, TAG = "outdoor", "tag"
FACETS = (*COLUMN_FACETS, BAND, TAG)
NUMBERS = ("capacity_w", "eer", "ratio", "claimed_capacity_w", "claimed_eer")
READ = (
    "pk",
    "bench_id",
    "audience",
    "name",
    "search",
    "tags",
    "bands",
    "comparable",
    *COLUMN_FACETS.values(),
    *NUMBERS,
)


@dataclass(frozen=True)
class Facet:
    """Which value each row has, several or none included: `of_row[i]` has the value `values[code[i]]`."""

    values: list[str]
    code: Whole
    of_row: Whole

    def has(self, chosen: Iterable[str], rows: int) -> Mask:
        """Say of each row whether it has one of some values."""
        wanted = np.isin(self.code, [n for n, value in enumerate(self.values) if value in set(chosen)])
        found = np.zeros(rows, dtype=bool)
        found[self.of_row[wanted]] = True
        return found

    def counts(self, among: Mask) -> dict[str, int]:
        """Return how many of some rows have each value."""
        found = np.bincount(self.code[among[self.of_row]], minlength=len(self.values))
        return {value: int(count) for value, count in zip(self.values, found, strict=True) if count}


@dataclass(frozen=True, eq=False)
class ShelfIndex:
    """The shelf's columns; a row is one unit for one audience."""

    keys: Whole
    benches: dict[UUID, int]
    bench: Whole
    is_public: Mask
    search: pa.Array
    facets: dict[str, Facet]
    orders: dict[str, Whole]

    def __len__(self) -> int:
        return len(self.keys)

    def shown(self, own: Iterable[UUID]) -> Mask:
        """Say of each row whether it is shown: the public one, and of one's own benches the bench's."""
        mine = np.isin(self.bench, [self.benches[key] for key in own if key in self.benches])
        return self.is_public != mine

    def with_words(self, words: Iterable[str]) -> Mask:
        """Say of each row whether all words stand in its text."""
        found = np.ones(len(self), dtype=bool)
        for word in words:
            found &= pc.match_substring(self.search, word).to_numpy(zero_copy_only=False)
        return found


_kept: tuple[Any, ShelfIndex] | None = None
_lock = Lock()


def shelf_index() -> ShelfIndex:
    """Return the shelf as it stands: one query, and a second where anything changed since this process last looked."""
    global _kept
    state = CatalogueEntry.objects.aggregate(rows=Count("pk"), stamps=Sum("stamp"))
    kept = _kept
    if kept is None or kept[0] != state:
        with _lock:
            kept = _kept
            if kept is None or kept[0] != state:
                _kept = kept = (state, _read())
    return kept[1]


def _read() -> ShelfIndex:
    rows = list(CatalogueEntry.objects.order_by("pk").values_list(*READ))
    column: dict[str, Any] = dict(zip(READ, zip(*rows, strict=True), strict=True)) if rows else dict.fromkeys(READ, ())
    benches = {key: n for n, key in enumerate(dict.fromkeys(column["bench_id"]))}
    facets = {
        name: _facet([value] if value else () for value in column[field]) for name, field in COLUMN_FACETS.items()
    }
    facets[BAND] = _facet([band.key for i, band in enumerate(BANDS) if mask >> i & 1] for mask in column["bands"])
    facets[TAG] = _facet(text.strip("|").split("|") if text.strip("|") else () for text in column["tags"])
    return ShelfIndex(
        keys=np.array(column["pk"], dtype=np.int64),
        benches=benches,
        bench=np.array([benches[key] for key in column["bench_id"]], dtype=np.int64),
        is_public=np.array([who == CatalogueEntry.Audience.PUBLIC for who in column["audience"]], dtype=bool),
        search=pa.array(column["search"], type=pa.string()),
        facets=facets,
        orders=_orders(column),
    )


def _facet(cells: Iterable[Iterable[str]]) -> Facet:
    codes: dict[str, int] = {}
    pairs = [(codes.setdefault(value, len(codes)), row) for row, cell in enumerate(cells) for value in cell]
    code, of_row = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    return Facet(list(codes), code, of_row)


def _orders(column: dict[str, Any]) -> dict[str, Whole]:
    """Return the rows in each order; what is not known comes last, as do measured figures at other conditions."""
    names = np.array(column["name"], dtype=str)
    known = {name: np.array(column[name], dtype=np.float64) for name in NUMBERS}
    last = ~np.array(column["comparable"], dtype=bool)

    def falling(name: str, *before: Mask) -> Whole:
        return np.lexsort((-known[name], *before))  # not a number sorts last; what is equal stays by key

    makers: dict[str, Callable[[], Whole]] = {
        "name": lambda: np.argsort(names, kind="stable"),
        "ratio": lambda: falling("ratio", last),
        "capacity": lambda: falling("capacity_w", last),
        "eer": lambda: falling("eer", last),
        "claimed": lambda: falling("claimed_capacity_w"),
        "claimed-eer": lambda: falling("claimed_eer"),
    }
    return {name: make() for name, make in makers.items()}
