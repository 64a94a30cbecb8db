"""One file that holds an edition whole: its page, its charts and its document; it opens from disk without a network."""

from __future__ import annotations

import re

from units.editions.page import ORIGIN, STANDING
from units.editions.style import set_in
from units.models import Edition

SCRIPT = re.compile(r'<script src="[^"]*"[^>]*></script>\s*')
ICON = re.compile(r'<link rel="icon"[^>]*>\s*')
PREVIEW = re.compile(r'<meta property="og:image[^>]*>\s*|<meta name="twitter:card"[^>]*>\s*')
LIVE = re.compile(r"<button[^>]*data-live[^>]*>.*?</button>\s*", re.DOTALL)


def one_file(edition: Edition, origin: str) -> str:
    """Return the page with its document within, as text whose SHA-256 is the edition's digest.

    The canonical form writes `<` as an escape, so that the document stands in a script element as it is.
    """
    html = edition.html
    for part in (SCRIPT, ICON, PREVIEW, LIVE):
        html = part.sub("", html)
    copy = f'<p class="notice">A saved copy of edition {edition.number}; the document it was made from is inside.</p>'
    held = f'<script type="application/json" id="edition-document">{edition.document}</script>'
    html = set_in(html, STANDING, copy).replace("</body>", f"{held}\n</body>", 1)
    return html.replace(ORIGIN, origin)
