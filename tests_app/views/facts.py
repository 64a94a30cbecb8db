"""Facts of a session that no log holds."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from reduction.errors import ReductionError
from reduction.judge.decision import in_words
from tests_app import session_document
from tests_app.actions import sessions
from tests_app.forms.facts import FactsForms
from tests_app.models import Session
from tests_app.views.common import at_session, page
from units.quantities import display_of


@at_session
def show(request: HttpRequest, session: Session) -> HttpResponse:
    """Show and keep loads, people, sun, water, heaters and events; the room is shown as it will be used."""
    forms = FactsForms(session, request.POST if request.method == "POST" else None, display=display_of(request))
    refusal, status = "", 200
    if request.method == "POST":
        status = 422
        if forms.is_valid():
            try:
                sessions.state_facts(session=session, facts=forms.stated(), by=request.user)
            except ReductionError as error:
                refusal = str(error)
            else:
                messages.success(request, "Saved.")
                return redirect("facts" if "again" in request.POST else "windows", session.pk)
    rule = in_words(session_document.decision_of(session))
    context = {"forms": forms, "refusal": refusal, "room": _room(session), "rule": rule}
    return page(request, session, "facts", **context, status=status)


def _room(session: Session) -> object | None:
    try:
        return session_document.room_of(session)
    except ReductionError:
        return None
