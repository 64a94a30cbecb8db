"""The method in plain words."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from reduction.method import HISTORY, METHOD_VERSION


@require_safe
def method(request: HttpRequest) -> HttpResponse:
    """Say how a figure is made and how to read it."""
    return render(request, "units/method.html", {"version": METHOD_VERSION, "history": HISTORY})
