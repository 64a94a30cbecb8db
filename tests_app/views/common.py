"""What every page of a session shares: fetched by role, in the session's zone, with its steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, TypeVar
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from tests_app.models import Session
from units import access
from units.models import Person, Role

AnyModel = TypeVar("AnyModel", bound=Model)

STEPS = (
    ("files", "Files"),
    ("channels", "Channels"),
    ("facts", "Facts"),
    ("windows", "Windows"),
    ("result", "Result"),
)


@dataclass(frozen=True)
class StepLink:
    """One step of the workbench as its navigation shows it."""

    label: str
    address: str
    is_current: bool
    is_done: bool


def at_session(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Give the view the session in place of its id: to read on GET, to edit on POST; times are in its zone."""

    @wraps(view)
    @login_required
    def fetched(request: HttpRequest, session_id: UUID, **kwargs: Any) -> HttpResponse:
        to = "edit" if request.method == "POST" else "read"
        session = access.fetch(Session, session_id, person=request.user, to=to)
        with timezone.override(session.time_zone):
            return view(request, session, **kwargs)

    return fetched


def fetch_within(session: Session, model: type[AnyModel], pk: UUID, *, person: Person, to: access.Intent) -> AnyModel:
    """Return a row of this very session; one of another session is not here, whoever asks."""
    row = access.fetch(model, pk, person=person, to=to)
    if row.session_id != session.pk:
        raise Http404(f"No such {model._meta.verbose_name} of this session.")
    row.session = session
    return row


def page(request: HttpRequest, session: Session, step: str, **context: Any) -> HttpResponse:
    """Render the page of one step."""
    status = context.pop("status", 200)
    shared = {
        "session": session,
        "step": step,
        "steps": steps(session, step),
        "may_edit": session.role != Role.READER,
        "is_synthetic": session.is_synthetic,
    }
    return render(request, f"tests_app/{step}.html", shared | context, status=status)


def steps(session: Session, current: str) -> list[StepLink]:
    """Return the steps with what is done, counted once."""
    asked = list(session.files.values_list("reading__asks", flat=True))
    done = {
        "files": bool(asked) and not any(asked),
        "channels": session.files.filter(channels__confirmed=True).exists(),
        "facts": session.room_id is not None or session.imported_room is not None,
        "windows": session.windows.filter(accepted=True).exists(),
        "result": session.reductions.exists(),
    }
    return [StepLink(label, reverse(name, args=[session.pk]), name == current, done[name]) for name, label in STEPS]
