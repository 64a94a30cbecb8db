"""What is published, open to all: units with claims and headline, their comparison, editions."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django import forms
from django.contrib.auth.models import AnonymousUser
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics
from rest_framework.exceptions import ValidationError
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from units.api.pages import ByName, NewestEdition
from units.api.public_serializers import ComparedSerializer, EditionSerializer, PublishedUnitSerializer
from units.compare.catalogue import shown_to
from units.compare.comparison import MOST_UNITS, compare
from units.compare.points import asked_units
from units.editions.read import standing
from units.models import CatalogueEntry, Edition
from units.pooled import BANDS, BASES, RATED

BETWEEN = ("gte", "lte")
EXACT = (
    "kind", "compressor", "refrigerant", "obtained", "capacity_class", "voltage_class", "price_class", "sound_class",
    "is_synthetic",
)  # fmt: skip


class OpenToAll:
    """Needs no token and looks at none: everyone is answered alike."""

    authentication_classes = ()
    permission_classes = (AllowAny,)


class PublishedUnitFilter(filters.FilterSet):
    """The catalogue's facets and its search."""

    q = filters.CharFilter(method="with_words", label="Words in maker, model, refrigerant, kind or tags")
    tag = filters.CharFilter(method="with_tag", label="A tag, as `quiet` or `series:Nord`")
    outdoor = filters.ChoiceFilter(
        method="in_band", choices=[(band.key, band.key) for band in BANDS], label="Tested in this band [°C]"
    )

    class Meta:
        model = CatalogueEntry
        fields = {
            **dict.fromkeys(EXACT, ("exact",)),
            **dict.fromkeys(("claimed_capacity_w", "capacity_w", "eer", "ratio"), BETWEEN),
        }

    def with_words(self, rows: Any, _: str, text: str) -> Any:
        """Keep rows that hold every word."""
        for word in text.lower().split():
            rows = rows.filter(search__contains=word)
        return rows

    def with_tag(self, rows: Any, _: str, tag: str) -> Any:
        """Keep rows with a tag."""
        return rows.filter(tags__contains=f"|{tag}|")

    def in_band(self, rows: Any, _: str, key: str) -> Any:
        """Keep rows of units that were tested in a band."""
        bit = next(1 << i for i, band in enumerate(BANDS) if band.key == key)
        return rows.filter(bands__in=[mask for mask in range(1 << len(BANDS)) if mask & bit])


class PublishedUnitList(OpenToAll, generics.ListAPIView):
    """Units with published points, with claims, tags and the figure that the catalogue shows; needs no token."""

    serializer_class = PublishedUnitSerializer
    pagination_class = ByName
    filterset_class = PublishedUnitFilter
    queryset = shown_to(AnonymousUser()).select_related("unit").prefetch_related("unit__claims", "unit__tags")


class PublishedComparison(OpenToAll, APIView):
    """Published figures of some units side by side; needs no token."""

    @extend_schema(
        operation_id="published_comparison",
        parameters=[
            OpenApiParameter("unit", {"type": "array", "items": {"type": "string", "format": "uuid"},
                                      "maxItems": MOST_UNITS}, description="Keys of the units", required=True),
            OpenApiParameter("at", str, enum=BASES, default=RATED,
                             description="Corrected to the claim's condition, or as tested in a band [°C]"),
        ],
        responses=ComparedSerializer(many=True),
    )  # fmt: skip
    def get(self, request: Request) -> Response:
        """Return one row a unit that has a figure on the basis; units of one group cannot be told apart."""
        keys, at = asked_units(request.query_params), request.query_params.get("at", RATED)
        if not keys or len(keys) > MOST_UNITS:
            raise ValidationError({"unit": [f"Name 1 to {MOST_UNITS} units by their keys."]})
        if at not in BASES:
            raise ValidationError({"at": [f"Expected one of {', '.join(BASES)}."]})
        comparison = compare(AnonymousUser(), keys, at)
        frame = comparison.units_frame.astype(object)
        lines = frame.where(frame.notna(), None).to_dict("records")
        with_figure = [row.unit.pk for row in comparison.rows if comparison.figures[row.unit.pk]]
        rows = [line | {"key": key} for key, line in zip(with_figure, lines, strict=True)]
        return Response(ComparedSerializer(rows, many=True).data)


class InstantField(filters.IsoDateTimeFilter.field_class):
    """An instant, brought to UTC: a database need not know each offset that a stamp can carry."""

    def clean(self, value: Any) -> datetime | None:
        """Return the instant in UTC."""
        instant = super().clean(value)
        try:
            return instant and instant.astimezone(UTC)
        except OverflowError as fault:
            raise forms.ValidationError("Expected an instant within the years 1 to 9999.") from fault


class InstantFilter(filters.IsoDateTimeFilter):
    """A filter by an instant with its offset."""

    field_class = InstantField


class EditionFilter(filters.FilterSet):
    """Editions by review and by when they were published."""

    review = filters.CharFilter("review__slug")
    published_at__gte = InstantFilter("published_at", "gte", label="Published then or later")
    published_at__lte = InstantFilter("published_at", "lte", label="Published then or before")

    class Meta:
        model = Edition
        fields = ()


class EditionList(OpenToAll, generics.ListAPIView):
    """Published editions, newest first, withdrawn ones left out; needs no token."""

    serializer_class = EditionSerializer
    pagination_class = NewestEdition
    filterset_class = EditionFilter
    queryset = standing()
