"""The second step at sign-in: asked for after the password, turned on and off by each person for themselves."""

from __future__ import annotations

import time
from http import HTTPStatus

import segno
from django.contrib import messages
from django.contrib.auth import get_backends, login, update_session_auth_hash
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from units import access
from units.actions import second_step
from units.forms.sign_in import CodeForm, NewCodeForm, OffForm
from units.models import Person

PENDING = "second_step"
PENDING_S = 600
GIVES_CODES = {"confirm_form": second_step.confirm, "codes_form": second_step.renew_codes}  # by the form that asks


def ask(request: HttpRequest, person: Person, *, then: str) -> HttpResponse:
    """Remember for some minutes who gave the right password, and ask for the code; nobody is signed in yet."""
    request.session[PENDING] = {"person": person.pk, "until": time.time() + PENDING_S, "then": then}
    return redirect("sign-in-code")


@never_cache
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """Take the code and sign in; 429 while too many failed."""
    pending = request.session.get(PENDING) or {}
    person = _who(pending)
    if person is None:
        request.session.pop(PENDING, None)
        return redirect("sign-in")
    form = CodeForm(request.POST or None, request=request, person=person)
    if request.method == "POST" and form.is_valid():
        del request.session[PENDING]
        login(request, person)
        return redirect(pending["then"])
    response = render(request, "units/sign_in_code.html", {"form": form})
    if form.wait_s:
        response.status_code = HTTPStatus.TOO_MANY_REQUESTS
        response["Retry-After"] = str(form.wait_s)
    return response


def _who(pending: dict[str, object]) -> Person | None:
    """Return whose password was right a short time ago, while the account is still in use."""
    if not 0 <= pending.get("until", 0) - time.time() <= PENDING_S:
        return None
    return get_backends()[0].get_user(pending["person"])


@require_safe
@login_required
@never_cache
def show(request: HttpRequest) -> HttpResponse:
    """Show whether the second step is on, and how to change that."""
    return _page(request)


@login_required
@require_POST
@never_cache
def begin(request: HttpRequest) -> HttpResponse:
    """Show a fresh key as a picture and in letters, to be confirmed by a first code."""
    try:
        return _page(request, begun=second_step.begin(by=request.user))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("second-step")


@login_required
@require_POST
@never_cache
def codes(request: HttpRequest, asked_by: str) -> HttpResponse:
    """Turn it on by a first code, or renew the recovery codes; either way show them, this once."""
    form = NewCodeForm(request.POST, request=request, person=request.user, verb=GIVES_CODES[asked_by])
    if not form.is_valid():
        return _page(request, **{asked_by: form})
    update_session_auth_hash(request, request.user)  # turning it on signs out every other browser, and this one not
    return _page(request, codes=form.codes)


@login_required
@require_POST
def off(request: HttpRequest) -> HttpResponse:
    """Turn it off, by password and code."""
    form = OffForm(request.POST, request=request, person=request.user)
    if not form.is_valid():
        return _page(request, off_form=form)
    second_step.turn_off(person=request.user, by=request.user)
    messages.success(request, "The second step is off. Signing in asks for the password alone.")
    return redirect("second-step")


def _page(request: HttpRequest, **context: object) -> HttpResponse:
    step, begun = second_step.of(request.user), context.get("begun")
    who = {"request": request, "person": request.user}
    forms = {
        **{name: NewCodeForm(**who, verb=verb, auto_id=f"{name}_%s") for name, verb in GIVES_CODES.items()},
        "off_form": OffForm(**who, auto_id="off_%s"),
    }
    wrong = [form for form in context.values() if getattr(form, "errors", None)]
    rules = access.asking_for_second_step(request.user)
    shown = {"step": step, "rules": rules, "now": timezone.now()} | forms | context
    if begun:
        picture = segno.make(second_step.address_of(begun), error="m")
        shown |= {"key": second_step.key_of(begun), "picture": picture.svg_data_uri(scale=5, light="white")}
    return render(request, "units/second_step.html", shown, status=422 if wrong else 200)
