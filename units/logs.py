"""Logs in production: one JSON object a line, with nothing in it that opens a door or names a private thing."""

from __future__ import annotations

import json
import logging
import re
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime

from django.http import HttpRequest, HttpResponse

SECRETS = (
    (re.compile(r"(/(?:shared|invited)/)[^/\s\"']+"), r"\1…"),
    (re.compile(r"(?i)(bearer\s+)\S+"), r"\1…"),
    (
        re.compile(
            r"(?i)\b(sessionid|csrftoken|csrfmiddlewaretoken|password|secret_key)(=|[\"']?:\s*[\"']?)[^\s;&\"',}]+"
        ),
        r"\1\2…",
    ),
    (re.compile(r"(\w+://[^:/\s]+:)[^@/\s]+(@)"), r"\1…\2"),
)
PRIVATE = (  # what errors quote of what a person wrote: names of files, values of rows
    (re.compile(r"(\[Errno \d+\] [^:\n]*: )(['\"]).*\2"), r"\1…"),
    (re.compile(r"(Key \([^)\n]*\)=\().*(\) )"), r"\1…\2"),
    (re.compile(r"(Failing row contains \().*(\))"), r"\1…\2"),
    (re.compile(r"(invalid input syntax for type [\w ]+: )(\").*\2"), r"\1…"),
)
FACTS = ("request_id", "method", "route", "status", "ms")

log = logging.getLogger("units.requests")


def redacted(text: str) -> str:
    """Return the text without secrets (links, tokens, cookies, passwords) and without what errors quote of a person.

    >>> redacted("Not Found: /shared/Zm9vYmFy/answer/")
    'Not Found: /shared/…/answer/'
    >>> redacted("postgres://ledger:hunter2@db:5432/ledger")
    'postgres://ledger:…@db:5432/ledger'
    >>> redacted("[Errno 28] No space left on device: '/data/Aunt Mabel.csv'")
    '[Errno 28] No space left on device: …'
    """
    for pattern, instead in (*SECRETS, *PRIVATE):
        text = pattern.sub(instead, text)
    return text


class JsonFormatter(logging.Formatter):
    """One record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Write time, level, logger and message, the facts of a request, and the trace of an error."""
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": redacted(record.getMessage()),
        }
        line |= {name: getattr(record, name) for name in FACTS if hasattr(record, name)}
        if record.exc_info:
            line["trace"] = redacted(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False, default=str)


class RequestLogMiddleware:
    """Logs each request by its route, never by its path: ids, names and secrets stay out, and routes can be counted."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer, and say how long it took."""
        began = time.perf_counter()
        response = self.get_response(request)
        facts = {
            "request_id": uuid.uuid4().hex[:16],
            "method": request.method,
            "route": request.resolver_match.route if request.resolver_match else "",
            "status": response.status_code,
            "ms": round((time.perf_counter() - began) * 1000, 1),
        }
        log.info("%(method)s /%(route)s %(status)d", facts, extra=facts)
        response["X-Request-ID"] = facts["request_id"]
        return response


PLAIN = {"version": 1, "disable_existing_loggers": False}
AS_JSON = PLAIN | {
    "formatters": {"json": {"()": "units.logs.JsonFormatter"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": "INFO"},
    "loggers": {"django": {"handlers": [], "level": "INFO", "propagate": True}},
}
