"""Name and password, and the code after them, tried at a measured pace."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from units.actions import second_step, sign_in
from units.models import Person


def address_of(request: HttpRequest) -> str:
    """Return the address a request came from: behind proxies, the one that the outermost of ours saw.

    What a client writes into the header itself stands to the left of that and is not believed.
    """
    seen = [one.strip() for one in request.headers.get("X-Forwarded-For", "").split(",") if one.strip()]
    if settings.PROXIES and len(seen) >= settings.PROXIES:
        return seen[-settings.PROXIES]
    return request.META.get("REMOTE_ADDR", "")


def _refuse_until(wait_s: int) -> None:
    if wait_s:
        minutes = -(-wait_s // 60)
        raise ValidationError(
            f"Too many sign-ins failed. Try again in {minutes} minute{'s'[: minutes != 1]}.", code="wait"
        )


class SignInForm(AuthenticationForm):
    """Refuses to try a password while too many failed; right and wrong passwords are then answered alike."""

    wait_s = 0

    def clean(self) -> dict[str, Any]:
        """Try the password unless it has to wait."""
        facts = {"name": self.cleaned_data.get("username", ""), "address": address_of(self.request)}
        self.wait_s = sign_in.wait_s(**facts)
        _refuse_until(self.wait_s)
        try:
            cleaned = super().clean()
        except ValidationError:
            sign_in.failed(**facts)
            raise
        if self.get_user() is not None:
            sign_in.succeeded(**facts)
        return cleaned


class CodeForm(forms.Form):
    """A code of the person's app or a recovery code; refuses to try it while too many failed."""

    code = forms.CharField(
        max_length=40,
        help_text="Six digits from your code app, or one of your recovery codes.",
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    wait_s = 0

    def __init__(self, *args: Any, request: HttpRequest, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        self.facts = {"name": f"second step of {person.pk}", "address": address_of(request)}

    def clean_code(self) -> str:
        """Try the code unless it has to wait."""
        self.wait_s = sign_in.wait_s(**self.facts, most_of_name=sign_in.MOST_CODES)
        _refuse_until(self.wait_s)
        try:
            self.tried(self.cleaned_data["code"])
        except ValidationError:
            sign_in.failed(**self.facts)
            raise
        sign_in.succeeded(**self.facts)
        return self.cleaned_data["code"]

    def tried(self, code: str) -> None:
        """Use the code up, or raise what is wrong with it."""
        if not second_step.passes(person=self.person, code=code):
            raise ValidationError(second_step.WRONG)


class NewCodeForm(CodeForm):
    """A code that turns the second step on or renews its recovery codes, which are then in `codes`."""

    codes: list[str]

    def __init__(self, *args: Any, verb: Callable[..., list[str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.verb = verb

    def tried(self, code: str) -> None:
        """Use the code up for new recovery codes."""
        self.codes = self.verb(by=self.person, code=code)


class OffForm(CodeForm):
    """Password and code, to turn the second step off; the code is not used up by a wrong password."""

    password = forms.CharField(widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False)
    field_order = ("password", "code")

    def clean_password(self) -> str:
        """Check the password."""
        if not self.person.check_password(self.cleaned_data["password"]):
            sign_in.failed(**self.facts)
            raise ValidationError("This is not your password.")
        return self.cleaned_data["password"]

    def clean_code(self) -> str:
        """Try the code where the password was right."""
        return super().clean_code() if "password" in self.cleaned_data else self.cleaned_data["code"]
