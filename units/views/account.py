"""Signing in and out, one's password, and how one reads units of measure."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.contrib.auth import views as auth
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.urls import reverse_lazy
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from units.actions import people, second_step
from units.forms.sign_in import SignInForm
from units.quantities import COOKIE, chosen, display_of
from units.views.second_step import ask

A_YEAR_S = 365 * 24 * 3600


class SignIn(auth.LoginView):
    """Name and password; 429 while too many failed."""

    template_name = "units/sign_in.html"
    redirect_authenticated_user = True
    authentication_form = SignInForm

    def form_valid(self, form: SignInForm) -> HttpResponse:
        """Sign in, or ask for the second step where the person has turned it on."""
        if second_step.of(form.get_user()):
            return ask(self.request, form.get_user(), then=self.get_success_url())
        return super().form_valid(form)

    def form_invalid(self, form: SignInForm) -> HttpResponse:
        """Say what is wrong, or how long to wait."""
        response = super().form_invalid(form)
        if form.wait_s:
            response.status_code = HTTPStatus.TOO_MANY_REQUESTS
            response["Retry-After"] = str(form.wait_s)
        return response


sign_in = SignIn.as_view()
sign_out = auth.LogoutView.as_view()


class PasswordChange(auth.PasswordChangeView):
    """Change one's own password."""

    template_name = "units/password_change.html"
    success_url = reverse_lazy("bench-home")

    def form_valid(self, form) -> HttpResponse:
        """Say that it is done."""
        messages.success(self.request, "Your password is changed.")
        return super().form_valid(form)


@require_POST
def display(request: HttpRequest) -> HttpResponse:
    """Remember °C or °F, W or Btu/h, and the colours; go back to where the reader was."""
    asked = {name: request.POST.get(name) for name in ("temperature", "power", "theme")}
    choice = chosen(display_of(request), **asked)
    if request.user.is_authenticated:
        people.remember_display(by=request.user, temperature=choice.temperature, power=choice.power)
    back = request.POST.get("next", "")
    inside = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()})
    response = redirect(back if inside else resolve_url("catalogue"))
    response.set_cookie(
        COOKIE, choice.cookie, max_age=A_YEAR_S, samesite="Lax", httponly=True, secure=request.is_secure()
    )
    return response
