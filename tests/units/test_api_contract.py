"""The whole API against its own OpenAPI document: generated requests, no 5xx, no answer that breaks the document.

The number of requests an operation is a setting of the environment, API_EXAMPLES; a small one in the normal run.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.handlers.wsgi import WSGIHandler
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests import builders
from units.actions import tokens
from units.models import Bench

EXAMPLES = int(os.environ.get("API_EXAMPLES", "12"))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    response_headers_conformance,
]


class Served(WSGIHandler):
    """The site as a web server runs it: an answer's body is sent to its end and closed, which the driver does not."""

    def __call__(self, *request: Any) -> list[bytes]:
        answer = super().__call__(*request)
        try:
            return [b"".join(answer)]
        finally:
            answer.close()


SCHEMA = schemathesis.openapi.from_wsgi("/api/openapi.json", Served())
OPERATIONS = [found.ok() for found in SCHEMA.get_all_operations()]


def test_every_operation_of_the_document_can_be_generated() -> None:
    assert len(OPERATIONS) > 15


@pytest.fixture
def scene(bench: Bench, db: None) -> dict[str, Any]:
    """Return one thing of each kind, by the first word of its address, and a token that may do everything."""
    unit = builders.a_unit(bench=bench)
    session = builders.a_session(bench=bench, unit=unit, with_logs=["plugs"])
    reduction = builders.a_reduction(session=session)
    builders.a_published_point(unit=unit)
    job = session.jobs.create(bench=bench, what="reduction")
    person = builders.a_person(bench=bench, role="owner")
    _, secret = tokens.make(bench=bench, label="script", token_role="owner", days=7, by=person)
    ids = {"units": unit.pk, "sessions": session.pk, "reductions": reduction.pk, "jobs": job.pk}
    return ids | {"file_id": session.files.get().pk, "secret": secret}


@pytest.fixture
def one_connection() -> Iterator[None]:
    """Let requests leave the test's connection open, as Django's own test client does."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.mark.usefixtures("one_connection")
@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.label)
def test_no_generated_request_breaks_the_document(operation: Any, scene: dict[str, Any]) -> None:
    @given(case=operation.as_strategy(), known=st.booleans())
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    def holds(case: Any, known: bool) -> None:
        if known and case.path_parameters:
            noun = case.path.split("/")[2]
            case.path_parameters = {"id": str(scene[noun]), "file_id": str(scene["file_id"])}
        with transaction.atomic():
            response = case.call(headers={"Authorization": f"Bearer {scene['secret']}"})
            transaction.set_rollback(True)
        case.validate_response(response, checks=CHECKS)

    holds()
