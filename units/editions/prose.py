"""The reviewer's Markdown as HTML that can do no harm, with figures, charts and tables set in by us."""

from __future__ import annotations

import re
from collections.abc import Callable

import nh3
from markdown_it import MarkdownIt
from markdown_it.token import Token

from units.editions.figures import REFERENCE, Reference

OPEN, CLOSE = "\ue000", "\ue001"  # private characters stand for a reference while Markdown and sanitiser work
MARK = re.compile(f"{OPEN}(\\d+){CLOSE}")
ALONE = re.compile(f"<p>{OPEN}(\\d+){CLOSE}</p>")
TAGS = {
    "p", "h2", "h3", "h4", "h5", "ul", "ol", "li", "strong", "em", "del", "code", "pre", "blockquote", "br", "hr",
    "a", "table", "thead", "tbody", "tr", "th", "td", "sup", "sub",
}  # fmt: skip
ATTRIBUTES = {"a": {"href", "title"}, "ol": {"start"}}
SCHEMES = {"http", "https", "mailto"}
DEEPEST_HEADING = 5

Put = Callable[[Reference, bool], str | None]

_markdown = MarkdownIt("commonmark", {"html": False, "typographer": False}).enable(["table", "strikethrough"])


def rendered(text: str, put: Put) -> str:
    """Return a text as HTML; `put(reference, alone)` gives the trusted HTML of each reference, None leaves it as typed.

    Headings start at the second level: the first is the page's title.
    """
    found: list[Reference] = []

    def hide(match: re.Match[str]) -> str:
        found.append(Reference(match[0], match[1], match[2] or ""))
        return f"{OPEN}{len(found) - 1}{CLOSE}"

    hidden = REFERENCE.sub(hide, text.replace(OPEN, "").replace(CLOSE, ""))
    tokens = [_lowered(token) for token in _markdown.parse(hidden)]
    html = _markdown.renderer.render(tokens, _markdown.options, {})
    clean = nh3.clean(html, tags=TAGS, attributes=ATTRIBUTES, url_schemes=SCHEMES, link_rel="nofollow noopener")

    def show(match: re.Match[str], *, alone: bool) -> str:
        reference = found[int(match[1])]
        said = put(reference, alone)
        return nh3.clean_text(reference.written) if said is None else said

    return MARK.sub(lambda match: show(match, alone=False), ALONE.sub(lambda match: show(match, alone=True), clean))


def _lowered(token: Token) -> Token:
    if token.type in ("heading_open", "heading_close"):
        token.tag = f"h{min(int(token.tag[1]) + 1, DEEPEST_HEADING)}"
    return token
