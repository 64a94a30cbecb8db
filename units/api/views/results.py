"""Reductions and points of a bench; published points, which all may read."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django_filters import rest_framework as filters
from rest_framework import generics
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from tests_app.models import Point, Reduction
from units import access
from units.api import scope
from units.api.pages import InTime, InTimeOfMeasurement, NewestReduction
from units.api.serializers import (
    PointSerializer,
    PublishedPointSerializer,
    ReductionDetailSerializer,
    ReductionSerializer,
)
from units.models import PublishedPoint

BETWEEN = ("gte", "lte")


class ReductionList(generics.ListAPIView):
    """Reductions, newest first; one that a later one supersedes stays."""

    serializer_class = ReductionSerializer
    pagination_class = NewestReduction
    filterset_fields = ("session", "method_version")
    queryset = scope.nothing(Reduction)

    def get_queryset(self) -> Any:
        """Return what the request may see."""
        return scope.visible(Reduction, self.request).defer("document", "result")


class ReductionDetail(generics.GenericAPIView):
    """One reduction."""

    serializer_class = ReductionDetailSerializer
    queryset = scope.nothing(Reduction)

    def get(self, request: Request, pk: UUID) -> Response:
        """Return the reduction with its session document and full result."""
        return Response(ReductionDetailSerializer(scope.fetch(Reduction, pk, request)).data)


class PointFilter(filters.FilterSet):
    """Points by unit, by session, by whether they stand, and by condition."""

    session = filters.UUIDFilter("reduction__session")
    current = filters.BooleanFilter("reduction__superseded_by", lookup_expr="isnull", label="Of a newest reduction")

    class Meta:
        model = Point
        fields = {
            "unit": ["exact"],
            "usable": ["exact"],
            "limit": ["exact"],
            "outdoor_temp_c": BETWEEN,
            "room_temp_c": BETWEEN,
        }


class PointList(generics.ListAPIView):
    """Reduced points of the benches you may read."""

    serializer_class = PointSerializer
    pagination_class = InTime
    filterset_class = PointFilter
    queryset = scope.nothing(Point)

    def get_queryset(self) -> Any:
        """Return what the request may see."""
        return scope.visible(Point, self.request).defer("detail")


class PublishedPointFilter(filters.FilterSet):
    """Published points by unit, kind and condition."""

    kind = filters.CharFilter("unit__kind")
    maker = filters.CharFilter("unit__maker")

    class Meta:
        model = PublishedPoint
        fields = {"unit": ["exact"], "limit": ["exact"], "outdoor_temp_c": BETWEEN, "room_temp_c": BETWEEN}


class PublishedPointList(generics.ListAPIView):
    """Points of the current editions; needs no token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    serializer_class = PublishedPointSerializer
    pagination_class = InTimeOfMeasurement
    filterset_class = PublishedPointFilter
    queryset = access.published_points()
