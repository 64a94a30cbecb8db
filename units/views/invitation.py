"""What who holds an invitation sees, and what who is offered a bench answers."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from units import access
from units.actions import handovers, invitations
from units.forms.bench import RegisterForm
from units.middleware import BENCH_IN_SESSION, BenchRequest
from units.models import Bench, Invitation, Membership

PRIVATE = {"X-Robots-Tag": "noindex, nofollow, noarchive", "Referrer-Policy": "same-origin"}


def show(request: BenchRequest, invitation_secret: str) -> HttpResponse:
    """Show an invitation; join as who is signed in, or make an account and join."""
    secret = invitation_secret
    invitation = invitations.living(secret)
    if invitation is None:
        raise Http404("No such invitation, or no longer.")
    form = None if request.user.is_authenticated else RegisterForm(request.POST or None)
    if request.method == "POST":
        answer = _joined(request, secret) if form is None else _registered(request, secret, form)
        if answer is not None:
            return answer
    return _private(request, invitation, form)


def _joined(request: BenchRequest, secret: str) -> HttpResponse:
    try:
        return _welcomed(request, invitations.accept(secret=secret, by=request.user))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("bench-home")


def _registered(request: BenchRequest, secret: str, form: RegisterForm) -> HttpResponse | None:
    if not form.is_valid():
        return None
    named = {"username": form.cleaned_data["username"], "password": form.cleaned_data["password1"]}
    membership = invitations.register_and_accept(secret=secret, **named)
    login(request, membership.person, backend=settings.AUTHENTICATION_BACKENDS[0])
    return _welcomed(request, membership)


def _welcomed(request: BenchRequest, membership: Membership) -> HttpResponse:
    """Go to the bench."""
    _work_at(request, membership.bench)
    messages.success(request, f"Welcome to {membership.bench}: you are {membership.get_role_display().lower()}.")
    return redirect("bench-home")


def _work_at(request: BenchRequest, bench: Bench) -> None:
    request.session[BENCH_IN_SESSION] = str(bench.pk)


def _private(request: BenchRequest, invitation: Invitation, form: RegisterForm | None) -> HttpResponse:
    context = {"invitation": invitation, "form": form}
    status = 422 if form is not None and form.errors else 200
    response = render(request, "units/invitation.html", context, status=status)
    response["Cache-Control"] = "private, no-store"
    for name, value in PRIVATE.items():
        response[name] = value
    return response


@login_required
@require_POST
def answer_offer(request: BenchRequest, handover_id: UUID) -> HttpResponse:
    """Take a bench over, or leave it with who has it."""
    handover = access.fetch_offer(handover_id, person=request.user)
    try:
        if request.POST.get("take") == "yes":
            bench = handovers.take(handover=handover, by=request.user)
            _work_at(request, bench)
            messages.success(request, f"{bench} is yours now.")
        else:
            handovers.decline(handover=handover, by=request.user)
            messages.success(request, f"{handover.bench} stays with {handover.offered_by}.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("bench-home")
