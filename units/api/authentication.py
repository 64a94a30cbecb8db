"""Who asks: a program with a bench's token, or a person who is signed in."""

from __future__ import annotations

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from units.actions import tokens
from units.models import ApiToken, Person

SCHEME = b"bearer"


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <secret>`, with a token made at the bench."""

    def authenticate(self, request: Request) -> tuple[Person, ApiToken] | None:
        """Return the token's person and the token, or None where no token was sent."""
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != SCHEME:
            return None
        secret = words[1].decode("latin-1") if len(words) == 2 else ""
        token = tokens.holder(secret)
        if token is None:
            raise AuthenticationFailed("This token is unknown, expired or revoked. Make a new one at the bench.")
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        """Name the scheme, so that a missing token is answered with 401."""
        return "Bearer"


class TokenScheme(OpenApiAuthenticationExtension):
    """States the scheme in the OpenAPI document."""

    target_class = TokenAuthentication
    name = "benchToken"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """Return the scheme as OpenAPI writes it."""
        return {"type": "http", "scheme": "bearer", "description": "A token of one bench, made under Bench → Tokens."}
