"""Channels of a session: what was proposed, confirmed or overruled."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from reduction.readers.vocabulary import UNITS
from tests_app import charts
from tests_app.actions import mapping
from tests_app.forms.channels import ChannelForm
from tests_app.models import Channel, Session
from tests_app.views.common import at_session, page


@at_session
def show(request: HttpRequest, session: Session) -> HttpResponse:
    """Show each channel with its picture and proposal; confirm them all at once."""
    files = list(session.files.prefetch_related("channels__instrument"))
    channels = [channel for file in files for channel in file.channels.all()]
    instruments = list(session.bench.instruments.all())
    data = request.POST if request.method == "POST" else None
    forms = [ChannelForm(data, channel=channel, instruments=instruments) for channel in channels]
    wrong = [form for form in forms if form.errors]
    if data is not None and not wrong:
        choices = {form.channel.pk: form.cleaned_data for form in forms}
        mapping.confirm(channels=channels, choices=choices, by=request.user)
        messages.success(request, f"{len(channels)} channels are confirmed.")
        return redirect("facts", session.pk)
    pictures = {(file.pk, column["name"]): column for file in files for column in file.reading.get("columns", ())}
    rows = [_row(form, pictures.get((form.channel.file_id, form.channel.column))) for form in forms]
    status = 422 if data is not None else 200
    return page(request, session, "channels", files=files, rows=rows, units=UNITS, status=status)


def _row(form: ChannelForm, column: dict | None) -> dict[str, object]:
    channel: Channel = form.channel
    return {
        "form": form,
        "channel": channel,
        "column": column,
        "picture": charts.sparkline(column["picture"], channel.column, column) if column else "",
        "guess": next((guess for guess in channel.guesses if guess["what"] == "role"), None),
    }
