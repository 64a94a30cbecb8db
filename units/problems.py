"""From what went wrong to what a person or a program reads: form error, JSON or page."""

from __future__ import annotations

import errno
import logging
import sys
from dataclasses import asdict
from http import HTTPStatus
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import RequestDataTooBig, TooManyFilesSent
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

from reduction.errors import ReductionError

if TYPE_CHECKING:
    from django.forms import BaseForm

log = logging.getLogger(__name__)

TITLES = {
    HTTPStatus.BAD_REQUEST: "This request cannot be read",
    HTTPStatus.FORBIDDEN: "Your role does not allow this",
    HTTPStatus.NOT_FOUND: "Nothing is at this address",
    HTTPStatus.UNPROCESSABLE_ENTITY: "This input cannot be used",
    HTTPStatus.INTERNAL_SERVER_ERROR: "Something broke on our side",
    HTTPStatus.INSUFFICIENT_STORAGE: "This site has no room left for files",
}
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
FULL_DATABASE = {"53100", "SQLITE_FULL"}  # how PostgreSQL and SQLite call it
ADVICE = {
    HTTPStatus.BAD_REQUEST: "Go back, reload the page and try again.",
    HTTPStatus.FORBIDDEN: "An owner of the bench can give you another role.",
    HTTPStatus.NOT_FOUND: "It may be private to a bench, withdrawn, or mistyped.",
    HTTPStatus.UNPROCESSABLE_ENTITY: "Nothing was saved.",
    HTTPStatus.INTERNAL_SERVER_ERROR: "Nothing of this was half saved. Try again; if it stays, tell who runs it.",
    HTTPStatus.INSUFFICIENT_STORAGE: "Nothing of this was kept. Tell who runs this site, and send it again later.",
}


def is_full(error: BaseException) -> bool:
    """Say whether an error means that a disk is full: of the store, of scratch files, of the database."""
    if isinstance(error, OSError):
        return error.errno in FULL
    cause = error.__cause__
    return bool({getattr(cause, "sqlstate", None), getattr(cause, "sqlite_errorname", None)} & FULL_DATABASE)


def as_form_error(form: BaseForm, error: ReductionError, field: str | None = None) -> None:
    """Put the error's sentence on the form, at `field` where it is about one."""
    form.add_error(field, str(error))


def as_data(error: ReductionError) -> dict[str, object]:
    """Return the error as data: the sentence, its parts, and what a person is asked, if anything."""
    place = {"file": error.place.file, "row": error.place.row, "column": error.place.column}
    question = getattr(error, "question", None)
    return ({} if question is None else {"question": asdict(question)}) | {
        "code": type(error).__name__,
        "sentence": str(error),
        "place": place,
        "found": error.found,
        "expected": error.expected,
        "remedy": error.remedy,
    }


def wants_data(request: HttpRequest) -> bool:
    """Say whether a program asked: an API address, or JSON preferred over HTML."""
    return request.path.startswith("/api/") or request.get_preferred_type(["text/html", "application/json"]) == (
        "application/json"
    )


def as_response(request: HttpRequest, error: ReductionError) -> HttpResponse:
    """Answer a request whose input cannot be used."""
    status = HTTPStatus.UNPROCESSABLE_ENTITY
    if wants_data(request):
        return JsonResponse({"errors": [as_data(error)]}, status=status)
    return page(request, status, str(error))


def page(request: HttpRequest, status: HTTPStatus, sentence: str = "") -> HttpResponse:
    """Render the page of a problem, or its JSON where a program asked."""
    if wants_data(request):
        detail = sentence or TITLES[status]
        return JsonResponse({"errors": [{"code": status.phrase, "sentence": detail}]}, status=status)
    context = {"title": TITLES[status], "sentence": sentence, "advice": ADVICE[status], "status": int(status)}
    return render(request, "units/problem.html", context, status=status)


class ProblemsMiddleware:
    """Turns a ReductionError that left a view into its sentence, so that bad input is never a 500."""

    def __init__(self, get_response) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer a ReductionError and a store that is full; leave all others to Django."""
        if isinstance(exception, ReductionError):
            return as_response(request, exception)
        if is_full(exception):
            log.error("A disk is full: %s", exception)
            return page(request, HTTPStatus.INSUFFICIENT_STORAGE)
        return None


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer 400; who sent too many files or too much text at once is told how much may come."""
    files, kilobytes = settings.DATA_UPLOAD_MAX_NUMBER_FILES, settings.DATA_UPLOAD_MAX_MEMORY_SIZE // 1024
    sentences = {
        TooManyFilesSent: f"Too many files came at once. Send at most {files}, and the rest after.",
        RequestDataTooBig: f"Too much came at once. Send at most {kilobytes:,} kB beside files.",
    }
    return page(request, HTTPStatus.BAD_REQUEST, sentences.get(type(exception), ""))


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Answer 403 with the role that is missing."""
    return page(request, HTTPStatus.FORBIDDEN, str(exception or ""))


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer 404; the sentence never says whether a private thing exists."""
    return page(request, HTTPStatus.NOT_FOUND)


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer 500 without touching the database, which may be what broke; 507 where what came in found no room."""
    error = sys.exception()
    status = HTTPStatus.INSUFFICIENT_STORAGE if error and is_full(error) else HTTPStatus.INTERNAL_SERVER_ERROR
    if wants_data(request):
        return JsonResponse({"errors": [{"code": status.phrase, "sentence": TITLES[status]}]}, status=status)
    return render(None, "units/broken.html", {"title": TITLES[status], "advice": ADVICE[status]}, status=status)
