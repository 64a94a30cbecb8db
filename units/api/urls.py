"""Addresses of the API, by noun."""

from __future__ import annotations

from django.urls import path
from drf_spectacular.views import SpectacularJSONAPIView
from rest_framework.permissions import AllowAny

from reduction.session import Result
from units.api.views import plan, published, results, schema, sessions, units

openapi = SpectacularJSONAPIView.as_view(permission_classes=[AllowAny], authentication_classes=[])

# /api/units/
unit_urls = [
    path("units/", units.UnitList.as_view(), name="api-units"),
    path("units/<uuid:pk>/", units.UnitDetail.as_view(), name="api-unit"),
    path("units/<uuid:pk>/season/", units.UnitSeason.as_view(), name="api-unit-season"),
]

# /api/sessions/
session_urls = [
    path("sessions/", sessions.SessionList.as_view(), name="api-sessions"),
    path("sessions/<uuid:pk>/", sessions.SessionDetail.as_view(), name="api-session"),
    path("sessions/<uuid:pk>/session.json", sessions.SessionDocument.as_view(), name="api-session-document"),
    path("sessions/<uuid:pk>/decision/", sessions.SessionDecision.as_view(), name="api-session-decision"),
    path("sessions/<uuid:pk>/files/<uuid:file_id>/", sessions.SessionFileBytes.as_view(), name="api-session-file"),
    path("sessions/<uuid:pk>/reduce/", sessions.SessionReduce.as_view(), name="api-session-reduce"),
    path("jobs/<uuid:pk>/", sessions.JobDetail.as_view(), name="api-job"),
]

# /api/reductions/, /api/points/
result_urls = [
    path("reductions/", results.ReductionList.as_view(), name="api-reductions"),
    path("reductions/<uuid:pk>/", results.ReductionDetail.as_view(), name="api-reduction"),
    path("points/", results.PointList.as_view(), name="api-points"),
    path("published-points/", results.PublishedPointList.as_view(), name="api-published-points"),
]

# what is published
published_urls = [
    path("published-units/", published.PublishedUnitList.as_view(), name="api-published-units"),
    path("published-comparison/", published.PublishedComparison.as_view(), name="api-published-comparison"),
    path("editions/", published.EditionList.as_view(), name="api-editions"),
]

# /api/plan/
plan_urls = [path("plan/", plan.PlanTest.as_view(), name="api-plan")]

urlpatterns = [
    *plan_urls,
    *unit_urls,
    *session_urls,
    *result_urls,
    *published_urls,
    path("openapi.json", openapi, name="api-openapi"),
    path("schema/session.json", schema.DocumentSchema.as_view(), name="api-schema-session"),
    path("schema/result.json", schema.DocumentSchema.as_view(model=Result), name="api-schema-result"),
]
