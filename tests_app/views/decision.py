"""The decision rule of a session, and what became of it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from reduction.judge.decision import in_words
from tests_app import session_document
from tests_app.actions import decisions
from tests_app.forms.decision import RuleForm
from tests_app.models import Session
from tests_app.views.common import at_session, page


@at_session
def show(request: HttpRequest, session: Session) -> HttpResponse:
    """Show the rule and each change of it; set it freely before there are data, with a reason after."""
    standing, after = session_document.decision_of(session), decisions.seen_already(session)
    data = request.POST if request.method == "POST" else None
    form = RuleForm(data, standing=standing, is_change=bool(after))
    if form.is_valid():
        why = form.cleaned_data.get("why", "")
        made = decisions.choose(session=session, rule=form.chosen(), why=why, by=request.user)
        messages.success(request, f"The rule holds: {made.now}." if made else "That is the rule already.")
        return redirect("decision", session.pk)
    context = {
        "form": form,
        "rule": in_words(standing),
        "decision": standing,
        "after": after.label if after else "",
        "choices": session.rule_choices.select_related("chosen_by"),
    }
    return page(request, session, "decision", **context, status=422 if form.errors else 200)
