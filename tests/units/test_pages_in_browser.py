"""The reader's and the bench's pages in a browser: accessible, within the screen, by keyboard, without script."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from reduction import session as doc
from tests import builders
from units import shelf
from units.actions import invitations
from units.models import Bench, CalibrationRecord, Unit

pytestmark = pytest.mark.django_db(transaction=True)

STEPS = (
    doc.Step(name="Claim", value_w=2344.6, u_w=0.0, kind="claim", because="Stated by the maker."),
    doc.Step(name="Room humidity", value_w=-44.6, u_w=20.0, kind="modelled", because="The room was drier."),
    doc.Step(name="Remainder", value_w=0.0, u_w=40.0, kind="remainder", because="Within what is known."),
)


@pytest.fixture
def scene() -> dict[str, str]:
    """Return the addresses of one page of each kind, on a bench with a few published units; nothing is drawn yet."""
    cache.clear()
    bench = Bench.objects.create(name="Larkmoor Bench", slug="larkmoor", is_synthetic=True)
    for role in ("owner", "tester", "reader"):
        builders.a_person(bench=bench, role=role, username=role, password="three hollow reeds")
    units = [a_tested_unit(bench, f"W{n}", 2200.0 + 60 * n) for n in range(3)]
    shelf.refresh(units)
    room, instrument = builders.a_room(bench=bench), builders.an_instrument(bench=bench)
    CalibrationRecord.objects.create(
        instrument=instrument, valid_from="2025-01-01", due_on="2026-01-01", how="ice point"
    )
    owner = bench.memberships.get(person__username="owner").person
    _, secret = invitations.invite(bench=bench, label="Nils", offered_role="tester", days=7, by=owner)
    compared = reverse("compare") + "?" + "&".join(f"unit={unit.pk}" for unit in units)
    return {name: reverse(name) for name in NAMED} | {
        "compare": compared,
        "compare-all": f"{compared}&show=all",
        "unit": reverse("unit", args=[units[0].pk]) + "?show=all",
        "unit-edit": reverse("unit-edit", args=[units[0].pk]),
        "room": reverse("room", args=[room.pk]),
        "room-value": reverse("room-value-new", args=[room.pk]),
        "instrument": reverse("instrument", args=[instrument.pk]),
        "calibrate": reverse("instrument-calibrate", args=[instrument.pk]),
        "invitation": reverse("invitation", args=[secret]),
        "nowhere": "/nowhere/",
    }


def a_tested_unit(bench: Bench, model: str, capacity_w: float) -> Unit:
    """Make a unit with three points, published."""
    unit = builders.a_unit(bench=bench, model=model, is_synthetic=True)
    room = doc.Measured(value=26.6, u=0.1)
    for outdoor in (27.0, 35.0, 39.0):
        conditions = {"room_temp_c": room, "outdoor_temp_c": doc.Measured(value=outdoor, u=0.1)}
        builders.a_point(unit=unit, capacity_w=capacity_w, conditions=conditions, shortfall=STEPS)
        builders.a_published_point(unit=unit, capacity_w=capacity_w, outdoor_temp_c=outdoor)
    return unit


NAMED = (
    "catalogue", "method", "sign-in", "bench-home", "people", "units", "unit-new", "units-import", "rooms", "room-new",
    "instruments", "instrument-new",
)  # fmt: skip
PUBLIC = ("catalogue", "method", "sign-in", "compare", "compare-all", "unit", "invitation", "nowhere")


def signed_in(context: Any, live_server: Any, username: str) -> None:
    """Give the browser the cookie of a signed-in person."""
    client = Client()
    client.login(username=username, password="three hollow reeds")
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}])


@pytest.mark.parametrize(("width", "theme"), [(1280, "light"), (320, "dark")])
def test_every_page_is_accessible_and_fits_the_screen(chromium, live_server, scene, keep_screenshot, width, theme):
    context = chromium.new_context(
        base_url=live_server.url, viewport={"width": width, "height": 900}, color_scheme=theme
    )
    page = context.new_page()
    faults: dict[str, Any] = {}
    for signed in (False, True):
        if signed:
            signed_in(context, live_server, "owner")
        for name, address in scene.items():
            if not signed and name not in PUBLIC:
                continue
            page.goto(address)
            too_wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
            found = [(rule["id"], rule["nodes"][0]["html"][:200]) for rule in Axe().run(page).response["violations"]]
            if too_wide > 0 or found:
                faults[f"{name} {signed}"] = (too_wide, found)
            keep_screenshot(page, f"{name}-{width}-{theme}{'-signed-in' if signed else ''}")
    context.close()
    assert faults == {}


def test_the_first_stop_of_the_keyboard_skips_to_the_content(browser_page, scene):
    browser_page.goto(scene["catalogue"])
    browser_page.keyboard.press("Tab")
    browser_page.keyboard.press("Enter")
    assert browser_page.evaluate("document.activeElement.id") == "main"


def test_a_facet_changes_the_list_and_the_address_and_back_undoes_it(browser_page, scene):
    Unit.objects.filter(model="W1").update(kind="mini_split")
    shelf.refresh(Unit.objects.all())
    browser_page.goto(scene["catalogue"])
    browser_page.get_by_label("Mini-split").check()
    second = browser_page.locator("table.catalogue tbody tr:nth-child(2)")
    second.wait_for(state="detached")
    assert "kind=mini_split" in browser_page.url
    browser_page.go_back()
    second.wait_for()
    assert "kind=mini_split" not in browser_page.url


def test_ticked_units_are_compared_and_the_charts_come_when_they_are_reached(browser_page, scene):
    browser_page.goto(scene["catalogue"])
    for model in ("W0", "W2"):
        browser_page.get_by_label(f"Compare Quellmar {model}").check()
    browser_page.get_by_role("button", name="Compare the ticked units").click()
    browser_page.locator("#chart-tested").scroll_into_view_if_needed()
    browser_page.locator("#chart-tested svg[role=img]").wait_for()
    assert browser_page.locator("table.data tbody tr").first.is_visible()


def test_a_chart_can_be_explored_under_the_sites_content_security_policy(browser_page, scene):
    answer = browser_page.goto(scene["compare-all"])
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "script-src 'self'" in policy
    refused: list[str] = []
    browser_page.on("console", lambda said: refused.append(said.text) if "Content Security" in said.text else None)
    for name in ("capacity-outdoor", "ratio"):
        browser_page.locator(f"#chart-{name} button[data-live]").click()
        browser_page.locator(f"#chart-{name} .chart__live svg").wait_for()
    browser_page.locator("#chart-ratio .chart__live svg").hover()  # a tooltip is drawn without a style of its own
    assert refused == []


def test_a_page_loads_nothing_from_elsewhere(browser_page, live_server, scene):
    asked: list[str] = []
    browser_page.on("request", lambda request: asked.append(request.url))
    for name in ("catalogue", "compare-all", "unit"):
        browser_page.goto(scene[name])
    browser_page.locator("#chart-ratio button[data-live]").click()
    browser_page.locator("#chart-ratio .chart__live svg").wait_for()
    assert [url for url in asked if not url.startswith((live_server.url, "data:", "blob:"))] == []


def test_without_script_facets_sorting_and_charts_work(chromium, live_server, scene):
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    page.goto(scene["catalogue"])
    page.get_by_label("Order").select_option("ratio")
    page.get_by_role("button", name="Sort").click()
    assert "sort=ratio" in page.url
    assert page.locator("table.catalogue tbody th a").first.inner_text() == "Quellmar W2"
    page.goto(scene["compare"])
    page.locator("#chart-capacity-outdoor a").click()
    assert page.locator("#chart-capacity-outdoor svg[role=img]").count() == 1
    assert page.locator("#chart-ratio img").count() == 1
    context.close()


def test_printed_pages_are_dark_on_white_and_leave_out_the_controls(browser_page, scene, keep_screenshot):
    browser_page.emulate_media(media="print", color_scheme="dark")
    browser_page.goto(scene["compare-all"])
    colours = browser_page.evaluate(
        "[getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor]"
    )
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert not browser_page.locator(".site-head").is_visible()
    assert browser_page.locator("#chart-ratio svg").first.is_visible()
    keep_screenshot(browser_page, "compare-print")
