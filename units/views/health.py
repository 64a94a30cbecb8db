"""Answers for machines that watch over the site."""

from __future__ import annotations

from http import HTTPStatus

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from units import health

OPEN_METRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"


@never_cache
@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """Say that this process answers; a machine that hears nothing starts it anew."""
    return HttpResponse("ok", content_type="text/plain; charset=utf-8")


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Say whether this process can do its work: 503 where database or storage fail, `late` where the queue is old."""
    parts = health.parts()
    works = all(part.works for part in parts)
    found = {part.name: {"works": part.works, "found": part.found} for part in parts}
    late = isinstance(found["queue"]["found"], float) and found["queue"]["found"] > health.LATE_S
    status = HTTPStatus.OK if works else HTTPStatus.SERVICE_UNAVAILABLE
    return JsonResponse({"ready": works, "late": late, "parts": found}, status=status)


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Hand out the figures to who holds the setting METRICS_TOKEN; without the setting the address is not there."""
    sent = request.headers.get("Authorization", "").removeprefix("Bearer ")
    if not settings.METRICS_TOKEN or not constant_time_compare(sent, settings.METRICS_TOKEN):
        raise Http404("No such address.")
    return HttpResponse(health.exposition(), content_type=OPEN_METRICS)
