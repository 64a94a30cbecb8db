"""The files of a page's charts at the page's own address: who may read the page may take its charts along."""

from __future__ import annotations

from collections.abc import Iterable

from django.http import Http404, HttpRequest, HttpResponse

from units.picture import FORMS, Drawn


def asked_file(request: HttpRequest, charts: Iterable[Drawn | None]) -> HttpResponse | None:
    """Return the file of one of a page's charts where the address asks for it, as `?chart=KEY.FORM`; else None."""
    if "chart" not in request.GET or request.method == "POST":
        return None
    key, _, form = request.GET["chart"].rpartition(".")
    chart = next((each for each in charts if each is not None and each.key == key), None)
    if chart is None or form not in FORMS:
        raise Http404("No such chart here.")
    return file_answer(chart.file(form), key, form)


def file_answer(content: bytes, name: str, form: str) -> HttpResponse:
    """Hand out a chart's file; all but what the page's own script reads is a download."""
    response = HttpResponse(content, content_type=FORMS[form])
    if form != "json":
        response["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return response
