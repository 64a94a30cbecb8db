"""JSON Schemas of the session document and of the result."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from reduction.session import Result, Session


class DocumentSchema(APIView):
    """A JSON Schema; needs no token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    model: type[Session | Result] = Session

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """Return the schema."""
        return Response(self.model.model_json_schema())
