"""Lists by keyset: a page costs the same however far in it is."""

from __future__ import annotations

from rest_framework.pagination import CursorPagination


class Newest(CursorPagination):
    """Newest first."""

    ordering = ("-created_at", "id")
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500


class NewestReduction(Newest):
    """Newest reduction first."""

    ordering = ("-reduced_at", "id")


class InTime(Newest):
    """In the order they were measured."""

    ordering = ("start", "id")


class InTimeOfMeasurement(Newest):
    """Published points in the order they were measured."""

    ordering = ("measured_at", "id")


class ByName(Newest):
    """Units by maker and model."""

    ordering = ("name", "id")


class NewestEdition(Newest):
    """Newest edition first."""

    ordering = ("-published_at", "id")
