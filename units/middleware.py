"""What every request carries: the bench a person works at, and what a page shows around its content."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseNotAllowed
from django.shortcuts import redirect
from django.urls import reverse

from units import access
from units.problems import wants_data
from units.quantities import CHOICES, display_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse

    from units.models import Bench

METHODS_OF_PAGES = ("GET", "HEAD", "OPTIONS", "POST")
BENCH_IN_SESSION = "bench"

PUBLIC_PAGES = (
    ("catalogue", "Catalogue"),
    ("compare", "Compare"),
    ("published", "Published"),
    ("plan", "Plan"),
    ("method", "Method"),
)
BENCH_PAGES = (
    ("bench-home", "Bench"),
    ("sessions", "Sessions"),
    ("units", "Units"),
    ("rooms", "Rooms"),
    ("instruments", "Instruments"),
    ("reviews", "Reviews"),
)


class BenchRequest(HttpRequest):
    """Type of a request after this middleware: Django's, with the bench of work."""

    bench: Bench | None


class BenchMiddleware:
    """Adds `request.bench`: the one chosen, else the person's first; None for a visitor."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on with its bench."""
        person = request.user
        request.bench = access.current_bench(person, request.session.get(BENCH_IN_SESSION))
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Lead to the second step where nothing else is missing; a program is told so."""
        if not isinstance(exception, access.SecondStepNeeded) or wants_data(request):
            return None
        messages.warning(request, str(exception))
        return redirect("second-step")


class PageMethodsMiddleware:
    """Refuses PUT, PATCH and DELETE outside the API: pages are asked for and their forms are sent, nothing else."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on where its method is one of a page's, or its address one of the API."""
        if request.method in METHODS_OF_PAGES or request.path.startswith("/api/"):
            return self.get_response(request)
        return HttpResponseNotAllowed(METHODS_OF_PAGES)


def _links(pages: tuple[tuple[str, str], ...]) -> list[tuple[str, str]]:
    return [(label, reverse(name)) for name, label in pages]


def page_context(request: HttpRequest) -> dict[str, Any]:
    """Return what the base template needs: navigation, the reader's units, the bench."""
    bench = getattr(request, "bench", None)
    return {
        "display": display_of(request),
        "display_choices": CHOICES,
        "public_pages": _links(PUBLIC_PAGES),
        "bench_pages": _links(BENCH_PAGES) if bench else [],
        "bench": bench,
        "second_step_begins": access.grace_of_second_step(bench, request.user) if bench else None,
    }
