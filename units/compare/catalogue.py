"""One page of the catalogue: which entries match, in which order, and what each facet would give."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any

from django.db.models import CharField, Count, F, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from units import access
from units.models import Bench, CatalogueEntry
from units.shelf import BANDS

if TYPE_CHECKING:
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
    """Return one page: three queries whatever the number of units."""
    rows = shown_to(person)
    matching = _matching(rows, asked)
    total = matching.count()
    pages = max(1, -(-total // PAGE_SIZE))
    start = (min(asked.page, pages) - 1) * PAGE_SIZE
    ordered = matching.order_by(*SORTS[asked.sort], "id").select_related("unit")
    entries = list(ordered[start : start + PAGE_SIZE])
    return CataloguePage(asked, entries, total, pages, _facets(rows, asked))


def shown_to(person: Person | AnonymousUser) -> QuerySet[CatalogueEntry]:
    """Return the public entries, and for units of the person's benches the entries with all of their points."""
    public = Q(audience=CatalogueEntry.Audience.PUBLIC)
    if not person.is_authenticated:
        return CatalogueEntry.objects.filter(public)
    own = Q(bench__in=list(access.visible(Bench, person).values_list("pk", flat=True)))
    return CatalogueEntry.objects.filter((public & ~own) | (own & Q(audience=CatalogueEntry.Audience.BENCH)))


def _matching(rows: QuerySet[CatalogueEntry], asked: Asked, *, but: str = "") -> QuerySet[CatalogueEntry]:
    """Return the rows with every word and every facet chosen, except one facet."""
    for word in asked.words:
        rows = rows.filter(search__contains=word)
    for facet, values in asked.chosen.items():
        if facet != but:
            rows = rows.filter(_has(facet, values))
    return rows


def _has(facet: str, values: frozenset[str]) -> Q:
    if facet in COLUMN_FACETS:
        return Q(**{f"{COLUMN_FACETS[facet]}__in": values})
    if facet == BAND:
        masks = [1 << i for i, band in enumerate(BANDS) if band.key in values]
        hits = [total for total in range(1 << len(BANDS)) if any(total & mask for mask in masks)]
        return Q(bands__in=hits)
    return reduce(or_, [_tagged(value) for value in sorted(values)])


def _tagged(written: str) -> Q:
    key, _, value = written.rpartition(":")
    return Q(unit__in=_unit_tags().filter(tag__key=key, tag__value=value).values("unit"))


def _unit_tags() -> QuerySet[Any]:
    return CatalogueEntry._meta.get_field("unit").related_model.tags.through.objects


def _facets(rows: QuerySet[CatalogueEntry], asked: Asked) -> dict[str, list[FacetValue]]:
    """Count every facet's values in one query; a facet does not narrow its own counts."""
    parts = []
    for name, column in (*COLUMN_FACETS.items(), (BAND, "bands")):
        value = Cast(F(column), CharField()) if name == BAND else F(column)
        parts.append(_counted(_matching(rows, asked, but=name), name, value))
    tag = Concat(F("unit__tags__key"), Value(":"), F("unit__tags__value"))
    parts.append(_counted(_matching(rows, asked, but=TAG).filter(unit__tags__isnull=False), TAG, tag))
    counts: dict[str, dict[str, int]] = {name: {} for name in FACETS}
    for row in parts[0].union(*parts[1:], all=True):
        counts[row["facet"]][row["value"]] = row["count"]
    counts[BAND] = _by_band(counts[BAND])
    counts[TAG] = {value.removeprefix(":"): count for value, count in counts[TAG].items()}
    return {name: _values(name, counted, asked.chosen.get(name, frozenset())) for name, counted in counts.items()}


def _counted(rows: QuerySet[CatalogueEntry], facet: str, value: Any) -> QuerySet[Any]:
    named = rows.order_by().annotate(facet=Value(facet, output_field=CharField()), value=value)
    return named.values("facet", "value").annotate(count=Count("pk")).values("facet", "value", "count")


def _by_band(by_mask: dict[str, int]) -> dict[str, int]:
    return {
        band.key: sum(count for mask, count in by_mask.items() if int(mask) >> i & 1) for i, band in enumerate(BANDS)
    }


def _values(facet: str, counted: dict[str, int], chosen: frozenset[str]) -> list[FacetValue]:
    """Return the values that occur or are chosen: bands from mild to hot, all else with the most units first."""
    present = {value: count for value, count in counted.items() if value and (count or value in chosen)}
    present |= {value: 0 for value in chosen if value and value not in present}
    values = [FacetValue(value, count, value in chosen) for value, count in present.items()]
    return values if facet == BAND else sorted(values, key=lambda found: (-found.count, found.value))
