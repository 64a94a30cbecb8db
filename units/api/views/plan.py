"""A plan for a test, from typed figures."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiResponse, OpenApiTypes, extend_schema
from rest_framework.parsers import JSONParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from reduction.loading import checked
from reduction.planning.plan import plan_test
from reduction.planning.plan_loading import HINT
from reduction.planning.plan_request import PlanRequest

NAME = "PLAN.json"


class PlanTest(APIView):
    """What a test will need and how well it will be known."""

    parser_classes = (JSONParser,)

    @extend_schema(
        request={"application/json": PlanRequest.model_json_schema()},
        responses={
            200: OpenApiResponse(OpenApiTypes.OBJECT, description="Targets with loads, times, expected U95; cautions"),
            422: OpenApiResponse(OpenApiTypes.OBJECT, description="What in the request cannot be used"),
        },
    )
    def post(self, request: Request) -> Response:
        """Plan the targets; nothing is kept."""
        asked = checked(PlanRequest, request.data, NAME, HINT)
        return Response(plan_test(asked).model_dump(mode="json"))
