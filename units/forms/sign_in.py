"""Name and password, tried at a measured pace."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest

from units.actions import sign_in


def address_of(request: HttpRequest) -> str:
    """Return the address a request came from: behind proxies, the one that the outermost of ours saw.

    What a client writes into the header itself stands to the left of that and is not believed.
    """
    seen = [one.strip() for one in request.headers.get("X-Forwarded-For", "").split(",") if one.strip()]
    if settings.PROXIES and len(seen) >= settings.PROXIES:
        return seen[-settings.PROXIES]
    return request.META.get("REMOTE_ADDR", "")


class SignInForm(AuthenticationForm):
    """Refuses to try a password while too many failed; right and wrong passwords are then answered alike."""

    wait_s = 0

    def clean(self) -> dict[str, Any]:
        """Try the password unless it has to wait."""
        facts = {"name": self.cleaned_data.get("username", ""), "address": address_of(self.request)}
        self.wait_s = sign_in.wait_s(**facts)
        if self.wait_s:
            minutes = -(-self.wait_s // 60)
            raise ValidationError(
                f"Too many sign-ins failed. Try again in {minutes} minute{'s'[: minutes != 1]}.", code="wait"
            )
        try:
            cleaned = super().clean()
        except ValidationError:
            sign_in.failed(**facts)
            raise
        if self.get_user() is not None:
            sign_in.succeeded(**facts)
        return cleaned
