"""The method in plain words."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from reduction.method import HISTORY, METHOD_VERSION


def method(request: HttpRequest) -> HttpResponse:
    """Say how a figure is made and how to read it."""
    return render(request, "units/method.html", {"version": METHOD_VERSION, "history": HISTORY})
