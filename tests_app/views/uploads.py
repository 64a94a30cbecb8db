"""A large file in parts, so that a broken line costs one part and not the file."""

from __future__ import annotations

from uuid import UUID

from django.core.files.base import ContentFile
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.views.decorators.http import require_POST

from reduction.errors import ReductionError
from tests_app.actions import upload
from tests_app.forms.files import BeginUploadForm
from tests_app.models import PartialUpload, Session
from tests_app.views.common import at_session, fetch_within
from units import problems


@require_POST
@at_session
def begin(request: HttpRequest, session: Session) -> JsonResponse:
    """Begin an upload or go on with the one that broke off; the answer says where to send which byte next."""
    form = BeginUploadForm(request.POST)
    if not form.is_valid():
        return JsonResponse({"errors": form.errors.get_json_data()}, status=422)
    try:
        started = upload.begin(session=session, by=request.user, **form.cleaned_data)
    except ReductionError as error:
        return JsonResponse({"errors": [problems.as_data(error)]}, status=422)
    return _state(started)


@at_session
def part(request: HttpRequest, session: Session, upload_id: UUID) -> JsonResponse:
    """Take one part (its bytes are the body); on GET say where the upload stands."""
    started = fetch_within(session, PartialUpload, upload_id, person=request.user, to="edit")
    if request.method != "POST":
        return _state(started)
    if int(request.headers.get("Content-Length") or 0) > 2 * upload.PART_BYTES:
        return JsonResponse({"errors": [{"sentence": "A part is at most 8 MB."}]}, status=413)
    try:
        offset = int(request.GET.get("offset", ""))
        taken = upload.receive(upload=started, offset=offset, part=ContentFile(request.read()), by=request.user)
    except ReductionError as error:
        return JsonResponse({"errors": [problems.as_data(error)], "received": started.received_bytes}, status=409)
    except ValueError:
        return JsonResponse({"errors": [{"sentence": "Say at which byte the part begins: ?offset=0."}]}, status=422)
    return _state(taken)


@require_POST
@at_session
def finish(request: HttpRequest, session: Session, upload_id: UUID) -> HttpResponse:
    """Join the parts, read the file and keep it."""
    started = fetch_within(session, PartialUpload, upload_id, person=request.user, to="edit")
    try:
        taken = upload.finish(upload=started, by=request.user)
    except ReductionError as error:
        return JsonResponse({"errors": [problems.as_data(error)]}, status=409)
    if taken.refused:
        return JsonResponse({"errors": [problems.as_data(error) for error in taken.refused]}, status=422)
    file = (taken.kept + taken.known)[0]
    return JsonResponse({"file": str(file.pk), "name": file.name, "is_new": bool(taken.kept)})


def _state(started: PartialUpload) -> JsonResponse:
    return JsonResponse(
        {
            "upload": str(started.pk),
            "received": started.received_bytes,
            "size": started.size_bytes,
            "part_bytes": upload.PART_BYTES,
            "part_url": reverse("upload-part", args=[started.session_id, started.pk]),
            "finish_url": reverse("upload-finish", args=[started.session_id, started.pk]),
        }
    )
