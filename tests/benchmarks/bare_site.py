"""The whole site with one view more, which answers with as many bytes as it is told: the least that serving costs."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "units.settings")
application = get_wsgi_application()

from django.conf import settings  # noqa: E402  the application sets it up
from django.http import HttpRequest, HttpResponse  # noqa: E402
from django.urls import include, path  # noqa: E402

BODIES: dict[int, bytes] = {}


def bare(request: HttpRequest, size: int) -> HttpResponse:
    """Answer with bytes that are there already."""
    return HttpResponse(BODIES.setdefault(size, b"x" * size), content_type="text/html; charset=utf-8")


urlpatterns = [path("bare/<int:size>/", bare), path("", include("units.urls"))]
settings.ROOT_URLCONF = __name__
