"""Units with their claims."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.request import Request
from rest_framework.response import Response

from units.actions import units
from units.api import scope
from units.api.pages import Newest
from units.api.season_serializers import SeasonRequestSerializer, SeasonSerializer
from units.api.serializers import UnitSerializer
from units.compare.own_season import season_in
from units.compare.points import units_with_points
from units.forms.unit import parse_tags
from units.models import Bench, Claim, Unit

WITH_ALL = ("claims", "tags")


class UnitList(generics.ListAPIView):
    """Units of the benches you may read; post one to register it."""

    serializer_class = UnitSerializer
    pagination_class = Newest
    filterset_fields = ("kind", "compressor", "refrigerant", "maker", "is_reference")
    queryset = scope.nothing(Unit)

    def get_queryset(self) -> Any:
        """Return what the request may see."""
        return scope.visible(Unit, self.request).prefetch_related(*WITH_ALL)

    @extend_schema(request=UnitSerializer, responses={201: UnitSerializer})
    def post(self, request: Request) -> Response:
        """Register a unit on the token's bench, or on your only one."""
        bench = scope.bench(request, None, to="edit")
        given = UnitSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        unit = _record(Unit(), given.validated_data, bench, request)
        return Response(UnitSerializer(unit).data, status=status.HTTP_201_CREATED)


class UnitDetail(generics.GenericAPIView):
    """One unit."""

    serializer_class = UnitSerializer
    queryset = scope.nothing(Unit)

    def get(self, request: Request, pk: UUID) -> Response:
        """Return the unit with its claims and tags."""
        return Response(UnitSerializer(scope.fetch(Unit, pk, request)).data)

    def patch(self, request: Request, pk: UUID) -> Response:
        """Change what is sent; claims and tags, where sent, replace the old ones."""
        unit = scope.fetch(Unit, pk, request, to="edit")
        given = UnitSerializer(unit, data=request.data, partial=True)
        given.is_valid(raise_exception=True)
        return Response(UnitSerializer(_record(unit, given.validated_data, unit.bench, request)).data)


class UnitSeason(generics.GenericAPIView):
    """A unit's season: in a climate, room and price of your own, and by published procedures."""

    serializer_class = SeasonRequestSerializer
    queryset = scope.nothing(Unit)

    @extend_schema(request=SeasonRequestSerializer, responses={200: SeasonSerializer})
    def post(self, request: Request, pk: UUID) -> Response:
        """Work the season out from all current points of the unit; nothing is kept."""
        unit = scope.fetch(Unit, pk, request)
        given = SeasonRequestSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        (row,) = units_with_points(request.user, [unit.pk])
        return Response(SeasonSerializer(season_in(row, **given.validated_data)).data)


def _record(unit: Unit, facts: dict[str, Any], bench: Bench, request: Request) -> Unit:
    """Write the facts on the unit and keep it."""
    claims = facts.pop("claims", None)
    words = facts.pop("tags", None)
    kept = [] if unit._state.adding else [(tag.key, tag.value) for tag in unit.tags.all()]
    dropped = [] if claims is None or unit._state.adding else list(unit.claims.all())
    for name, value in facts.items():
        setattr(unit, name, value)
    return units.record(
        unit=unit,
        bench=bench,
        tags=kept if words is None else [tag for word in words for tag in parse_tags(word)],
        claims=[Claim(**claim) for claim in claims or ()],
        dropped_claims=dropped,
        by=request.user,
    )
