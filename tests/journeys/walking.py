"""What every journey does on the way: sign in, look whether a page is accessible and fits, read a figure."""

from __future__ import annotations

import re
from typing import Any

from axe_playwright_python.sync_playwright import Axe

PASSWORD = "three hollow reeds"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


def sign_in(page: Any, username: str) -> None:
    """Sign in by the form."""
    page.goto("/account/sign-in/")
    page.get_by_label("Username").fill(username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/bench/")


def assert_fit_for_all(page: Any, *widths: int) -> None:
    """Raise where axe finds something against WCAG 2.2 A or AA, or the page is wider than a screen."""
    found = Axe().run(page, options=RULES).response["violations"]
    if found:
        raise AssertionError(
            [page.url, *((one["id"], [node["html"][:160] for node in one["nodes"]][:3]) for one in found)]
        )
    for width in widths or (320,):
        page.set_viewport_size({"width": width, "height": 800})
        inner = page.evaluate("document.documentElement.scrollWidth")
        if inner > width:
            raise AssertionError(f"{page.url} is {inner} px wide on a screen of {width} px")
    page.set_viewport_size({"width": 1280, "height": 900})


def figure(text: str) -> float:
    """Return the first number in a text as written for people: `1,684 ± 40 W` is 1684."""
    written = re.search(r"[-−+]?[\d,\u202f ]*\d(?:\.\d+)?", text)[0]
    return float(re.sub(r"[,\u202f +]", "", written).replace("−", "-"))
