"""What a page that carries its own style tells the browser: this style, named by its digest, and no other is its own.

References
----------
Content Security Policy Level 3 (W3C), section 2.3.1: `'sha256-…'`, the base64 of a digest, from memory.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpResponse

STYLE = re.compile(rb"<style>(.*?)</style>", re.DOTALL)


def style_sources(html: bytes) -> tuple[str, ...]:
    """Return the style elements of a page as sources of its policy.

    >>> style_sources(b"<style>p{}</style><p>")
    ("'sha256-gG2yISYereRMiG2lMXrbiUgi0Ubw9p7QCeWcroOvy9Y='",)
    """
    digests = (hashlib.sha256(style).digest() for style in STYLE.findall(html))
    return tuple(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)


def carrying_style(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Let a frozen page wear the style it carries, so that it looks the same for ever and from disk.

    A view whose answer is packed, or is 304, says in `style_sources` what the page carries.
    """

    @wraps(view)
    def allowed(*arguments: Any, **named: Any) -> HttpResponse:
        response = view(*arguments, **named)
        known = getattr(response, "style_sources", None)
        sources = style_sources(response.content) if known is None else known
        if sources:
            response._csp_update = {"style-src": list(sources)}
        return response

    return allowed
