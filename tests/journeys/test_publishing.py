"""A reviewer's way in the browser: write, insert, preview, publish, correct, withdraw, share, revoke, export."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests import builders, publishing
from units.actions import people
from units.models import Bench, Edition, Person

PASSWORD = "correct horse battery"


@pytest.fixture
def odile(transactional_db: None) -> Person:
    """Return the owner of a bench with a unit that has a point."""
    person = builders.a_person(username="odile", password=PASSWORD)
    bench = people.open_bench(name="Larkmoor Bench", by=person)
    Bench.objects.filter(pk=bench.pk).update(is_synthetic=True)
    publishing.a_telling_reduction(publishing.a_told_unit(bench))
    return person


@pytest.fixture
def visitor_page(chromium: Any, live_server: Any) -> Iterator[Any]:
    """Open a page for somebody without a login."""
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 1280, "height": 900})
    yield context.new_page()
    context.close()


def assert_accessible(page: Any) -> None:
    """Raise where axe finds something against WCAG 2.2 A or AA."""
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(page, options=rules).response["violations"]
    problems = [(one["id"], [node["html"][:160] for node in one["nodes"]][:3]) for one in found]
    if problems:
        raise AssertionError(problems)


def assert_fits(page: Any, *widths: int) -> None:
    """Raise where a page is wider than the screen."""
    for width in widths:
        page.set_viewport_size({"width": width, "height": 800})
        inner = page.evaluate("document.documentElement.scrollWidth")
        if inner > width:
            raise AssertionError(f"{inner} px wide on a screen of {width} px")
    page.set_viewport_size({"width": 1280, "height": 900})


def sign_in(page: Any) -> None:
    page.goto("/account/sign-in/")
    page.get_by_label("Username").fill("odile")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/bench/")


def write(page: Any, keep: Any) -> str:
    """Begin a review from the units' list, write with a live preview, and return its address."""
    page.goto("/reviews/new/")
    page.get_by_label("Quellmar").check()
    page.get_by_role("button", name="Save").click()
    page.get_by_role("textbox", name="Disclosure").fill("Bought by the bench in a shop. No ties to the maker.")
    page.get_by_role("textbox", name="Text").fill("## Found\n\nIt removed ")
    insert(page, "P1 cooling capacity as tested", "P1 EER", "Capacity against outdoor temperature", "Results as tested")
    assert (
        "removed {{ P1 capacity }} {{ P1 eer }}\n\n{{ chart" in page.get_by_role("textbox", name="Text").input_value()
    )
    page.locator("#live a.bound").nth(1).wait_for()
    page.locator("#live svg").wait_for()
    page.locator("#live table").get_by_role("link", name="P1").wait_for()
    assert "2,300" in page.locator("#live a.bound").first.inner_text()
    assert page.evaluate("document.querySelector('#live').scrollWidth <= document.querySelector('#live').clientWidth")
    assert_accessible(page)
    keep(page, "write")
    page.locator("form", has=page.get_by_role("textbox", name="Disclosure")).get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    assert_fits(page, 360, 320)
    return page.url


def insert(page: Any, *names: str) -> None:
    """Choose figures, charts and tables from the list, and set them where the cursor stands."""
    for name in names:
        page.get_by_label("Insert at the cursor").select_option(label=name)
        page.get_by_role("button", name="Insert", exact=True).click()


def preview(page: Any, address: str, keep: Any) -> None:
    """Read the whole page as it would be published; nothing of it is public yet."""
    page.goto(address)
    page.get_by_role("link", name="Preview what is saved").click()
    page.get_by_text("Draft, not published").wait_for()
    assert page.locator("#chart-capacity-outdoor svg").count() == 1
    assert_accessible(page)
    keep(page, "preview")


def publish(page: Any, address: str, *, erratum: str = "") -> None:
    page.goto(f"{address}publish/")
    if erratum:
        page.get_by_label("What this edition corrects").fill(erratum)
    page.get_by_label("I have read the preview").check()
    assert_accessible(page)
    page.get_by_role("button", name="Publish").click()
    page.get_by_text(re.compile(r"^Edition \d is published\.$")).wait_for()


def test_a_review_from_the_first_word_to_its_withdrawal(
    odile: Person, browser_page: Any, visitor_page: Any, chromium: Any, keep_screenshot: Any, tmp_path: Path
) -> None:
    page, visitor = browser_page, visitor_page
    sign_in(page)
    address = write(page, keep_screenshot)
    preview(page, address, keep_screenshot)
    page.goto(address)
    share_with_the_maker(page, visitor, address)
    publish(page, address)
    edition = Edition.objects.get()
    published = f"/published/{edition.review.slug}/"
    read(visitor, published, keep_screenshot)

    with visitor.expect_download() as download:
        visitor.get_by_role("link", name="This page as one file").click()
    saved = tmp_path / "edition.html"
    download.value.save_as(saved)
    assert_opens_offline(chromium, saved, edition, keep_screenshot)

    correct(page, visitor, address, published, keep_screenshot)

    page.goto(f"{address}withdraw/")
    page.get_by_label("Reason").fill("The sample was not a retail one.")
    page.get_by_role("button", name="Save").click()
    assert visitor.goto(published).status == 410
    visitor.get_by_text("The sample was not a retail one.").wait_for()
    assert_accessible(visitor)
    keep_screenshot(visitor, "withdrawn")


def share_with_the_maker(page: Any, visitor: Any, address: str) -> None:
    """Let the maker read the draft and answer, take the answer, end the link."""
    page.get_by_text("Share the draft by a link").click()
    page.get_by_label("For whom").fill("Press office")
    page.get_by_role("button", name="Make a link").click()
    link = page.get_by_label("Link").input_value()
    visitor.goto(link)
    visitor.get_by_text("A private draft").wait_for()
    visitor.get_by_role("link", name="Answer it").click()
    visitor.get_by_label("Name and company").fill("Quellmar press office")
    visitor.get_by_label("Your answer").fill("We thank the bench.")
    visitor.get_by_role("button", name="Send the answer").click()
    visitor.get_by_text("Thank you").wait_for()
    page.goto(address)
    page.get_by_role("button", name="Print it in full").click()
    page.get_by_role("button", name="End it").click()
    assert visitor.goto(link).status == 404


def read(visitor: Any, published: str, keep_screenshot: Any) -> None:
    """Read the edition at several widths, and a chart of it live."""
    visitor.goto(published)
    visitor.get_by_text("We thank the bench.").wait_for()
    assert_accessible(visitor)
    keep_screenshot(visitor, "published")
    assert_fits(visitor, 1280, 360, 320)
    visitor.set_viewport_size({"width": 320, "height": 800})
    keep_screenshot(visitor, "published-320")
    assert_accessible(visitor)
    visitor.set_viewport_size({"width": 1280, "height": 900})
    visitor.locator("#chart-capacity-outdoor").get_by_role("button", name="Explore").click()
    visitor.locator("#chart-capacity-outdoor .chart__live svg").wait_for()


def correct(page: Any, visitor: Any, address: str, published: str, keep_screenshot: Any) -> None:
    """Publish a second edition, and find the old one marked."""
    page.goto(address)
    page.get_by_role("textbox", name="Text").fill("## Found\n\nIt removed {{ P1 capacity }} at {{ P1 outdoor }}.\n")
    page.locator("form", has=page.get_by_role("textbox", name="Disclosure")).get_by_role("button", name="Save").click()
    publish(page, address, erratum="The outdoor temperature was missing.")
    visitor.goto(published)
    visitor.get_by_role("link", name="What was changed, old and new").click()
    visitor.locator("#errata").wait_for()
    keep_screenshot(visitor, "corrected")
    visitor.goto(f"{published}1/")
    visitor.get_by_text("Corrected since.").wait_for()


def assert_opens_offline(chromium: Any, path: Path, edition: Edition, keep: Any) -> None:
    """Raise where the saved file asks the network for anything or does not hold the document."""
    context = chromium.new_context(offline=True)
    page, asked = context.new_page(), []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    keep(page, "from-disk")
    held = page.locator("#edition-document").text_content()
    shown = page.locator("#sha256").inner_text()
    charts = page.locator("figure svg").count()
    context.close()
    if asked != [path.as_uri()] or not charts:
        raise AssertionError(f"{asked}, {charts} charts")
    if not hashlib.sha256(held.encode()).hexdigest() == shown == edition.sha256:
        raise AssertionError("the document within is not the one that was published")


def test_a_published_page_prints_whole(odile: Person, browser_page: Any, keep_screenshot: Any) -> None:
    edition = publishing.a_published_review(Bench.objects.get(), odile)
    browser_page.emulate_media(media="print")
    browser_page.goto(f"/published/{edition.review.slug}/")
    budget = browser_page.get_by_text("gain of power meter").first
    keep_screenshot(browser_page, "print")
    assert budget.is_visible()
    assert not browser_page.locator(".site-head").is_visible()
    assert re.search(r"SHA-256 [0-9a-f]{64}", browser_page.locator("#data ~ p").first.inner_text())


def test_a_published_page_reads_whole_without_a_script(odile: Person, chromium: Any, live_server: Any) -> None:
    edition = publishing.a_published_review(Bench.objects.get(), odile)
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"/published/{edition.review.slug}/")
    charts = page.locator("figure svg")
    page.get_by_text("Uncertainty budget of P1").click()
    assert charts.count() == len(page.locator("figure").all()) > 0
    assert page.get_by_text("gain of power meter").first.is_visible()
    context.close()
