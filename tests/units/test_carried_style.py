"""A frozen page in a browser wears the style it carries, under a policy that allows this style and no other."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.cache import cache
from django.urls import reverse

from tests import builders, publishing

pytestmark = pytest.mark.django_db(transaction=True)
RULES = "() => [...document.styleSheets].reduce((count, sheet) => count + sheet.cssRules.length, 0)"
ADDED = """() => {
    const style = document.createElement('style');
    style.textContent = 'h1 { color: rgb(1, 2, 3) }';
    document.body.append(style);
    return getComputedStyle(document.querySelector('h1') || document.body).color;
}"""


def test_the_style_is_worn_and_none_that_is_slipped_in(browser_page: Any) -> None:
    cache.clear()
    bench = builders.a_bench(name="Larkmoor Bench", slug="larkmoor")
    owner = builders.a_person(bench=bench, role="owner")
    edition = publishing.a_published_review(bench, owner, charts=["tested"])
    slug = edition.review.slug
    refused: list[str] = []
    browser_page.on("console", lambda said: refused.append(said.text) if "Content Security" in said.text else None)
    for address in (
        reverse("edition", args=[slug]),
        reverse("edition-numbered", args=[slug, 1]),
        reverse("edition-embed", args=[slug, 1, "tested"]),
    ):
        browser_page.goto(address)
        assert browser_page.evaluate(RULES) > 3, address
        assert refused == []
    browser_page.goto(reverse("edition", args=[slug]))
    assert browser_page.evaluate(ADDED) != "rgb(1, 2, 3)"
    assert "style-src" in refused[0]
