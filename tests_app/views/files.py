"""Files of a session: uploaded, what was read of them, read again as a person says."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST, require_safe

from reduction.errors import ReductionError
from tests_app import questions
from tests_app.actions import mapping, upload
from tests_app.actions import questions as question_actions
from tests_app.forms.files import ClockForm, ProfileForm, UploadForm
from tests_app.models import SavedMapping, Session, SessionFile
from tests_app.views.common import at_session, fetch_within, page
from units import access

WORDS_SHOWN = 3


@at_session
def show(request: HttpRequest, session: Session) -> HttpResponse:
    """Show what was read of each file; take more files."""
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if request.method == "POST" and form.is_valid():
        taken = upload.keep_files(session=session, files=form.cleaned_data["files"], by=request.user)
        _say(request, taken)
        return redirect("files", session.pk)
    files = list(session.files.select_related("evidence").prefetch_related("channels"))
    offers = mapping.offered(session=session, files=files)
    shown = [_shown(file, offers.get(file.reading.get("fingerprint"))) for file in files]
    return page(request, session, "files", form=form, files=shown, status=422 if form.errors else 200)


def _say(request: HttpRequest, taken: upload.Upload) -> None:
    for file in taken.kept:
        if file.reading["asks"]:
            messages.warning(request, f"{file.name} is kept and asks something before it can be read. Answer it below.")
        else:
            count = len(file.reading["columns"])
            messages.success(request, f"{file.name}: {count} channels read. Look them over below.")
    for file in taken.known:
        messages.info(request, f"{file.name} is here already, byte for byte; it is kept once.")
    for error in taken.refused[:WORDS_SHOWN]:
        messages.error(request, f"{error} Nothing of this file was kept.")
    if len(taken.refused) > WORDS_SHOWN:
        messages.error(request, f"{len(taken.refused) - WORDS_SHOWN} more files could not be read.")


def _shown(file: SessionFile, offer: SavedMapping | None) -> dict[str, object]:
    settled = file.reading["logs"][0]["profile"] if file.reading.get("logs") else {}
    return {
        "file": file,
        "reading": file.reading,
        "asked": questions.open_in(file),
        "mapping": offer,
        "profile_form": ProfileForm(initial=_instants(settled | file.profile), prefix=f"p{file.pk.hex}"),
        "clock_form": ClockForm(initial=_instants(file.clock), prefix=f"c{file.pk.hex}"),
    }


def _instants(stored: dict[str, Any]) -> dict[str, Any]:
    """Return stored values with their instants as such, so that they are shown in the session's zone."""
    return {name: parse_datetime(value) if name.endswith("_utc") else value for name, value in stored.items()}


@require_safe
@at_session
def download(request: HttpRequest, session: Session, file_id: UUID) -> FileResponse:
    """Give the file back as it came, byte for byte."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="read")
    stored = default_storage.open(file.evidence.stored_as)
    name = file.name.rpartition("/")[2]
    response = FileResponse(stored, as_attachment=True, filename=name, content_type="application/octet-stream")
    response["Digest"] = f"sha-256={file.evidence.sha256}"
    return response


@require_POST
@at_session
def read_as(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Read a file again with the zone, date order or other reading that a person states."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    form = ProfileForm(request.POST, prefix=f"p{file.pk.hex}")
    if form.is_valid():
        try:
            mapping.read_as(file=file, profile=form.cleaned_data, by=request.user)
            messages.success(request, f"{file.name} is read again as you said.")
        except ReductionError as error:
            messages.error(request, f"{error} The file is still read as before.")
    else:
        _say_wrong(request, file, form)
    return redirect("files", session.pk)


@require_POST
@at_session
def answer(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Take a person's answer to what a file asks, and read the file by it."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    what, said = request.POST.get("what", ""), request.POST.get("answer", "")
    file = question_actions.answer(file=file, what=what, answer=said, by=request.user)
    more = " It asks one thing more." if file.reading["asks"] else ""
    messages.success(request, f"{file.name} is read as you answered.{more}")
    return redirect("files", session.pk)


@require_POST
@at_session
def set_clock(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Correct the clock of one file."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    form = ClockForm(request.POST, prefix=f"c{file.pk.hex}")
    if form.is_valid():
        try:
            mapping.set_clock(file=file, clock=form.cleaned_data, by=request.user)
            messages.success(request, f"The clock of {file.name} is corrected; the other files keep theirs.")
        except ReductionError as error:
            messages.error(request, str(error))
    else:
        _say_wrong(request, file, form)
    return redirect("files", session.pk)


def _say_wrong(request: HttpRequest, file: SessionFile, form: ProfileForm | ClockForm) -> None:
    for name, errors in form.errors.items():
        messages.error(request, f"{file.name}, {form.fields[name].label or name}: {' '.join(errors)}")


@require_POST
@at_session
def take_clock(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Correct the clock of one file as offered."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    mapping.take_clock_offer(file=file, by=request.user)
    messages.success(request, f"The clock of {file.name} is corrected as offered. Look for steady windows again.")
    return redirect("windows", session.pk)


@require_POST
@at_session
def remember(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Save how this layout is read, for the next file of the same logger."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    mapping.remember(file=file, name=request.POST.get("name", "").strip() or file.name, by=request.user)
    messages.success(request, "Saved. The next file with these headings is offered this mapping.")
    return redirect("channels", session.pk)


@require_POST
@at_session
def apply_mapping(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Confirm a file's channels by the saved mapping of its layout."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    saved = access.fetch(SavedMapping, request.POST.get("mapping", ""), person=request.user, to="edit")
    mapping.apply(file=file, mapping=saved, by=request.user)
    messages.success(request, f"{file.name} is read as “{saved.name}”.")
    return redirect("channels", session.pk)


@require_POST
@at_session
def remove(request: HttpRequest, session: Session, file_id: UUID) -> HttpResponse:
    """Take a file out of the session."""
    file = fetch_within(session, SessionFile, file_id, person=request.user, to="edit")
    upload.remove(file=file, by=request.user)
    messages.success(request, f"{file.name} is taken out of this session.")
    return redirect("files", session.pk)
