"""One page of the catalogue: which entries match, in which order, and what each facet would give."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any

from django.db.models import F, Q, QuerySet

from units import access
from units.models import Bench, CatalogueEntry
from units.shelf import BANDS

if TYPE_CHECKING:
    from uuid import UUID

    from django.contrib.auth.models import AnonymousUser
    from django.http import QueryDict

    from units.models import Person

PAGE_SIZE = 25
MOST_WORDS = 8
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
SORTS = {
    "name": ("name",),
    "ratio": ("-comparable", F("ratio").desc(nulls_last=True)),
    "capacity": ("-comparable", F("capacity_w").desc(nulls_last=True)),
    "eer": ("-comparable", F("eer").desc(nulls_last=True)),
    "claimed": (F("claimed_capacity_w").desc(nulls_last=True),),
    "claimed-eer": (F("claimed_eer").desc(nulls_last=True),),
}


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
    rows = _with_words(shown_to(person), asked.words)
    facets, total = _facets(rows, asked)
    pages = max(1, -(-total // PAGE_SIZE))
    start = (min(asked.page, pages) - 1) * PAGE_SIZE
    for facet, values in asked.chosen.items():
        rows = rows.filter(_has(facet, values))
    ordered = rows.order_by(*SORTS[asked.sort], "id").select_related("unit")
    return CataloguePage(asked, list(ordered[start : start + PAGE_SIZE]), total, pages, facets)


def matching_units(person: Person | AnonymousUser, asked: Asked, most: int) -> list[UUID]:
    """Return the keys of the units that a filter leaves, in its order, at most so many."""
    rows = _with_words(shown_to(person), asked.words)
    for facet, values in asked.chosen.items():
        rows = rows.filter(_has(facet, values))
    return list(rows.order_by(*SORTS[asked.sort], "id").values_list("unit", flat=True)[:most])


def shown_to(person: Person | AnonymousUser) -> QuerySet[CatalogueEntry]:
    """Return the public entries, and for units of the person's benches the entries with all of their points."""
    public = Q(audience=CatalogueEntry.Audience.PUBLIC)
    if not person.is_authenticated:
        return CatalogueEntry.objects.filter(public)
    own = Q(bench__in=list(access.visible(Bench, person).values_list("pk", flat=True)))
    return CatalogueEntry.objects.filter((public & ~own) | (own & Q(audience=CatalogueEntry.Audience.BENCH)))


def _with_words(rows: QuerySet[CatalogueEntry], words: tuple[str, ...]) -> QuerySet[CatalogueEntry]:
    for word in words:
        rows = rows.filter(search__contains=word)
    return rows


def _has(facet: str, values: frozenset[str]) -> Q:
    if facet in COLUMN_FACETS:
        return Q(**{f"{COLUMN_FACETS[facet]}__in": values})
    if facet == TAG:
        return reduce(or_, [Q(tags__contains=f"|{value}|") for value in sorted(values)])
    return Q(bands__in=[mask for mask in range(1 << len(BANDS)) if values & _BANDS_OF[mask]])


_BANDS_OF = [frozenset(band.key for i, band in enumerate(BANDS) if mask >> i & 1) for mask in range(1 << len(BANDS))]


def _facets(rows: QuerySet[CatalogueEntry], asked: Asked) -> tuple[dict[str, list[FacetValue]], int]:
    """Return every facet's counts and the number of matching units, from one reading of narrow rows.

    A facet does not narrow its own counts: a unit counts there when it fails no other facet.
    """
    counts: dict[str, Counter[str]] = {facet: Counter() for facet in FACETS}
    matching = []
    chosen = [(i, facet, asked.chosen[facet]) for i, facet in enumerate(FACETS) if facet in asked.chosen]
    for row in rows.order_by().values_list(*COLUMN_FACETS.values(), "bands", "tags"):
        failing = [(i, facet) for i, facet, values in chosen if values.isdisjoint(_values_of(facet, row[i]))]
        if not failing:
            matching.append(row)
        elif len(failing) == 1:
            i, facet = failing[0]
            counts[facet].update(_values_of(facet, row[i]))
    for i, facet in enumerate(FACETS):
        for value, count in Counter(row[i] for row in matching).items():
            for each in _values_of(facet, value):
                counts[facet][each] += count
    found = {facet: _listed(facet, counts[facet], asked.chosen.get(facet, frozenset())) for facet in FACETS}
    return found, len(matching)


def _values_of(facet: str, cell: Any) -> Iterable[str]:
    """Return the values of a facet that a cell holds: several bands and tags, one of anything else."""
    if facet == BAND:
        return _BANDS_OF[cell]
    return cell.strip("|").split("|") if facet == TAG else (cell,)


def _listed(facet: str, counted: Counter[str], chosen: frozenset[str]) -> list[FacetValue]:
    """Return the values that occur or are chosen: bands from mild to hot, all else with the most units first."""
    present = {value: count for value, count in counted.items() if value}
    present |= {value: 0 for value in chosen if value and value not in present}
    values = [FacetValue(value, count, value in chosen) for value, count in present.items()]
    if facet == BAND:
        keys = [band.key for band in BANDS]
        return sorted(values, key=lambda found: keys.index(found.value) if found.value in keys else len(keys))
    return sorted(values, key=lambda found: (-found.count, found.value))
