"""The session as its document."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from tests_app import session_document
from tests_app.models import Session
from tests_app.views.common import at_session


@require_safe
@at_session
def document(request: HttpRequest, session: Session) -> HttpResponse:
    """Give SESSION.json as it would be reduced now."""
    text = session_document.to_document(session).model_dump_json(indent=2)
    response = HttpResponse(text, content_type="application/json")
    response["Content-Disposition"] = 'attachment; filename="SESSION.json"'
    return response
