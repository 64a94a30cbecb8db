"""Keys for programs, made and revoked by an owner of the bench."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from units import access
from units.actions import tokens
from units.forms.bench import TokenForm
from units.middleware import BenchRequest
from units.models import ApiToken, Bench


@access.at_bench(to="own")
def listing(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the bench's living tokens; make one, whose secret is shown this once."""
    form = TokenForm(request.POST or None)
    secret = None
    if request.method == "POST" and form.is_valid():
        _, secret = tokens.make(bench=bench, **form.cleaned_data, by=request.user)
        form = TokenForm()
    living = access.visible(ApiToken, request.user, to="own").filter(
        bench=bench, revoked_at__isnull=True, expires_at__gt=timezone.now()
    )
    context = {"tokens": living.select_related("person"), "form": form, "secret": secret}
    return render(request, "units/tokens.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def revoke(request: BenchRequest, token_id: UUID) -> HttpResponse:
    """End a token."""
    token = tokens.revoke(token=access.fetch(ApiToken, token_id, person=request.user, to="own"), by=request.user)
    messages.success(request, f"The token “{token.label}” works no longer.")
    return redirect("tokens")
