"""One page of the catalogue: which entries match, in which order, and what each facet would give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from django.db.models import Q, QuerySet

from units import access
from units.compare.shelf_index import BAND, FACETS, Mask, ShelfIndex, shelf_index
from units.models import Bench, CatalogueEntry
from units.pooled import BANDS

if TYPE_CHECKING:
    from uuid import UUID

    from django.contrib.auth.models import AnonymousUser
    from django.http import QueryDict

    from units.models import Person

PAGE_SIZE = 25
MOST_WORDS = 8
SIZED = ("capacity", "voltage", "price", "sound")  # facets whose values are figures or spans of them
SORTS = ("name", "ratio", "capacity", "eer", "claimed", "claimed-eer")


@dataclass(frozen=True)
class Asked:
    """What the address asks for: the whole state of the page."""

    words: tuple[str, ...]
    chosen: dict[str, frozenset[str]]
    sort: str
    page: int

    @property
    def narrows(self) -> bool:
        """Whether anything is searched or filtered for."""
        return bool(self.words or self.chosen)

    @classmethod
    def from_query(cls, query: QueryDict) -> Asked:
        """Read an address; what it does not know it leaves out."""
        number = query.get("page", "")
        return cls(
            words=tuple(query.get("q", "").lower().split()[:MOST_WORDS]),
            chosen={name: frozenset(query.getlist(name)) for name in FACETS if name in query},
            sort=query.get("sort") if query.get("sort") in SORTS else "name",
            page=int(number) if number.isascii() and number.isdigit() and len(number) < 7 and int(number) else 1,
        )


@dataclass(frozen=True)
class FacetValue:
    """One value of a facet with how many units it would leave."""

    value: str
    count: int
    chosen: bool


@dataclass(frozen=True)
class CataloguePage:
    """What the page shows."""

    asked: Asked
    entries: list[CatalogueEntry]
    total: int
    pages: int
    facets: dict[str, list[FacetValue]]


def catalogue_page(person: Person | AnonymousUser, asked: Asked) -> CataloguePage:
    """Return one page: two queries whatever the number of units, three for who is signed in."""
    index = shelf_index()
    facets, matching = _facets(index, _candidates(index, person, asked), asked)
    total = int(matching.sum())
    pages = max(1, -(-total // PAGE_SIZE))
    start = (min(asked.page, pages) - 1) * PAGE_SIZE
    keys = _ordered(index, matching, asked)[start : start + PAGE_SIZE]
    found = CatalogueEntry.objects.select_related("unit").in_bulk(keys)
    return CataloguePage(asked, [found[key] for key in keys if key in found], total, pages, facets)


def matching_units(person: Person | AnonymousUser, asked: Asked, most: int) -> list[UUID]:
    """Return the keys of the units that a filter leaves, in its order, at most so many."""
    index = shelf_index()
    matching = _candidates(index, person, asked)
    for facet, values in asked.chosen.items():
        matching = matching & index.facets[facet].has(values, len(index))
    keys = _ordered(index, matching, asked)[:most]
    units = dict(CatalogueEntry.objects.filter(pk__in=keys).values_list("pk", "unit"))
    return [units[key] for key in keys if key in units]


def _candidates(index: ShelfIndex, person: Person | AnonymousUser, asked: Asked) -> Mask:
    own = access.visible(Bench, person).values_list("pk", flat=True) if person.is_authenticated else ()
    return index.shown(own) & index.with_words(asked.words)


def _ordered(index: ShelfIndex, matching: Mask, asked: Asked) -> list[int]:
    rows = index.orders[asked.sort]
    found: list[int] = index.keys[rows[matching[rows]]].tolist()
    return found


def shown_to(person: Person | AnonymousUser) -> QuerySet[CatalogueEntry]:
    """Return the public entries, and for units of the person's benches the entries with all of their points."""
    public = Q(audience=CatalogueEntry.Audience.PUBLIC)
    if not person.is_authenticated:
        return CatalogueEntry.objects.filter(public)
    own = Q(bench__in=list(access.visible(Bench, person).values_list("pk", flat=True)))
    return CatalogueEntry.objects.filter((public & ~own) | (own & Q(audience=CatalogueEntry.Audience.BENCH)))


def _facets(index: ShelfIndex, rows: Mask, asked: Asked) -> tuple[dict[str, list[FacetValue]], Mask]:
    """Return every facet's counts and the rows that match.

    A facet does not narrow its own counts: a unit counts there when it fails no other facet.
    """
    fails = {name: ~index.facets[name].has(values, len(index)) for name, values in asked.chosen.items()}
    failed = np.sum(list(fails.values()), axis=0) if fails else np.zeros(len(index), dtype=int)
    matching = rows & (failed == 0)
    found = {}
    for name in FACETS:
        among = rows & (failed - fails[name] == 0) if name in fails else matching
        found[name] = _listed(name, index.facets[name].counts(among), asked.chosen.get(name, frozenset()))
    return found, matching


def _listed(facet: str, counted: dict[str, int], chosen: frozenset[str]) -> list[FacetValue]:
    """Return the values that occur or are chosen: by size where they have one, else those of most units first."""
    present = counted | {value: 0 for value in chosen if value and value not in counted}
    values = [FacetValue(value, count, value in chosen) for value, count in present.items()]
    if facet == BAND:
        keys = [band.key for band in BANDS]
        return sorted(values, key=lambda found: keys.index(found.value) if found.value in keys else len(keys))
    if facet in SIZED:
        return sorted(values, key=lambda found: _size(found.value))
    return sorted(values, key=lambda found: (-found.count, found.value))


def _size(value: str) -> tuple[str, float]:
    """Return what a class is put in order by: prices by currency, then where the class begins.

    >>> sorted(["EUR:500-", "2500-3200", "-1800", "EUR:-200"], key=_size)
    ['-1800', '2500-3200', 'EUR:-200', 'EUR:500-']
    """
    currency, _, span = value.rpartition(":")
    return currency, float(span.partition("-")[0] or 0)
