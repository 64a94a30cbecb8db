"""A session that moves here with its files."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from reduction.errors import ReductionError
from tests_app.actions import documents
from tests_app.forms.files import ImportForm
from units import access, problems
from units.models import Bench


@access.at_bench(to="edit")
def new(request: HttpRequest, bench: Bench) -> HttpResponse:
    """Take a session document together with the files it lists."""
    form = ImportForm(request.POST, request.FILES) if request.method == "POST" else ImportForm()
    if form.is_valid():
        try:
            document = documents.parse(form.cleaned_data["document"].read())
            files = form.cleaned_data["files"]
            session = documents.bring_in(bench=bench, document=document, files=files, by=request.user, may_ask=True)
        except ReductionError as error:
            problems.as_form_error(form, error)
        else:
            messages.success(request, f"“{session.name}” is here with {len(document.files)} files.")
            return redirect("session", session.pk)
    context = {"form": form, "is_synthetic": bench.is_synthetic}
    return render(request, "tests_app/session_import.html", context, status=422 if form.errors else 200)
