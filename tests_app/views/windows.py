"""Windows of a session: proposed with their evidence, accepted, moved, added."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from reduction.errors import ReductionError
from tests_app import charts
from tests_app.actions import aligned, windows
from tests_app.forms.windows import NewWindowForm, WindowForm
from tests_app.models import Session, Window
from tests_app.views.common import at_session, fetch_within, page
from units.chart_files import asked_file
from units.quantities import display_of


@require_safe
@at_session
def show(request: HttpRequest, session: Session) -> HttpResponse:
    """Show the timeline with its windows and the evidence of each."""
    return _page(request, session, NewWindowForm(initial={"label": _next_label(session)}))


def _page(request: HttpRequest, session: Session, new: NewWindowForm, status: int = 200) -> HttpResponse:
    rows = list(session.windows.select_related("decided_by"))
    forms = [(window, WindowForm.of(window)) for window in rows]
    context = {"rows": forms, "files": session.files.all(), "new": new, "status": status}
    try:
        frame = aligned.frame_of(session)
    except ReductionError as error:
        return page(request, session, "windows", refusal=str(error), **context)
    picture = charts.timeline(frame, rows, session.time_zone, display_of(request))
    return asked_file(request, [picture]) or page(request, session, "windows", picture=picture, **context)


def _next_label(session: Session) -> str:
    return f"by hand {session.windows.filter(proposed=False).count() + 1}"


@require_POST
@at_session
def propose(request: HttpRequest, session: Session) -> HttpResponse:
    """Look for steady windows."""

    def look() -> str:
        found = windows.propose(session=session, by=request.user)
        if found:
            return f"{len(found)} steady window{'s'[: len(found) != 1]} found."
        return "No span is steady by the limits that is not decided on already. Add a window by hand with your reason."

    return _try(request, session, look)


@require_POST
@at_session
def add(request: HttpRequest, session: Session) -> HttpResponse:
    """Add a window by hand."""
    form = NewWindowForm(request.POST)
    if form.is_valid():
        try:
            windows.add(session=session, by=request.user, **form.cleaned_data)
        except ReductionError as error:
            form.add_error(None, str(error))
        else:
            return redirect("windows", session.pk)
    return _page(request, session, form, status=422)


@require_POST
@at_session
def decide(request: HttpRequest, session: Session, window_id: UUID) -> HttpResponse:
    """Accept, refuse, move or remove one window."""
    window = fetch_within(session, Window, window_id, person=request.user, to="edit")
    form = WindowForm.of(window, request.POST)
    verbs: dict[str, Callable[[], object]] = {
        "accept": lambda: windows.accept(window=window, by=request.user),
        "refuse": lambda: windows.refuse(window=window, by=request.user),
        "remove": lambda: windows.remove(window=window, by=request.user),
        "move": lambda: windows.move(window=window, by=request.user, **form.cleaned_data),
    }
    verb = request.POST.get("verb", "")
    if verb not in verbs or (verb == "move" and not form.is_valid()):
        messages.error(request, f"{window.label}: the two times could not be read. Choose them again.")
        return redirect("windows", session.pk)
    return _try(request, session, lambda: verbs[verb]() and "")


def _try(request: HttpRequest, session: Session, work: Callable[[], object]) -> HttpResponse:
    try:
        said = work()
    except ReductionError as error:
        messages.error(request, str(error))
    else:
        if isinstance(said, str) and said:
            messages.success(request, said)
    return redirect("windows", session.pk)
