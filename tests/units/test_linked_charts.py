"""Charts and tables of a page as one, in the browser: pointed at, clicked, chosen by keyboard, and zoomed into."""

from __future__ import annotations

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse

from tests import builders

pytestmark = pytest.mark.django_db(transaction=True)

FAINT = "els => [...new Set(els.map(e => [e.dataset.unit, getComputedStyle(e).opacity < 0.5].join()))].sort()"


@pytest.fixture
def compared(bench: Any) -> str:
    """Return the address of three published units side by side, all charts drawn."""
    units = [builders.a_unit(bench=bench, model=f"W{n}") for n in range(3)]
    for n, unit in enumerate(units):
        for outdoor in (27.0, 35.0, 39.0):
            builders.a_published_point(unit=unit, capacity_w=2200.0 + 60 * n, outdoor_temp_c=outdoor, limit=FULL)
    return reverse("compare") + "?show=all&" + "&".join(f"unit={unit.pk}" for unit in units)


FULL = "at full speed"


def faint(page: Any, chart: str) -> list[str]:
    """Return each unit with whether its marks are faint in a chart."""
    return page.eval_on_selector_all(f"#chart-{chart} .chart__draw svg [data-unit]", FAINT)


def test_a_unit_pointed_at_in_one_chart_stands_out_in_the_others_and_in_the_table(browser_page, compared):
    browser_page.goto(compared)
    browser_page.locator('#chart-capacity-outdoor svg path[data-row][data-unit="Quellmar W1"]').first.hover()
    wanted = ["Quellmar W0,true", "Quellmar W1,false", "Quellmar W2,true"]
    assert faint(browser_page, "ratio") == wanted
    assert faint(browser_page, "eer-outdoor") == wanted
    row = browser_page.locator('tr[data-unit="Quellmar W1"] th').first
    plain = browser_page.locator('tr[data-unit="Quellmar W2"] th').first
    colour = "e => getComputedStyle(e).backgroundColor"
    assert row.evaluate(colour) != plain.evaluate(colour)


def test_a_mark_says_the_row_of_the_table_behind_it(browser_page, compared):
    browser_page.goto(compared)
    mark = browser_page.locator('#chart-capacity-outdoor svg path[data-row][data-unit="Quellmar W1"]').first
    mark.hover()
    row = int(mark.get_attribute("data-row"))
    cells = browser_page.locator("#chart-capacity-outdoor tbody tr").nth(row).locator("th, td").all_text_contents()
    said = browser_page.locator(".mark-words").inner_text()
    assert [cell for cell in cells if cell not in said] == []


def test_a_click_keeps_a_unit_singled_out_and_escape_lets_it_go(browser_page, compared):
    browser_page.goto(compared)
    browser_page.locator('#chart-ratio svg path[data-unit="Quellmar W2"]').first.click()
    browser_page.mouse.move(2, 2)
    assert faint(browser_page, "capacity-outdoor")[2] == "Quellmar W2,false"
    assert browser_page.get_by_role("button", name="Quellmar W2").get_attribute("aria-pressed") == "true"
    browser_page.keyboard.press("Escape")
    assert [each for each in faint(browser_page, "capacity-outdoor") if each.endswith("true")] == []


def test_the_keyboard_singles_units_out_by_their_buttons(browser_page, compared):
    browser_page.goto(compared)
    browser_page.get_by_role("button", name="Quellmar W0").focus()
    browser_page.keyboard.press("Space")
    browser_page.keyboard.press("Tab")
    browser_page.keyboard.press("Enter")
    assert faint(browser_page, "ratio") == ["Quellmar W0,false", "Quellmar W1,false", "Quellmar W2,true"]
    browser_page.get_by_role("button", name="Show all alike").press("Enter")
    assert [each for each in faint(browser_page, "ratio") if each.endswith("true")] == []


def test_a_zoomed_chart_follows_and_leads_the_others_and_goes_back_to_the_picture(browser_page, compared):
    refused: list[str] = []
    browser_page.on("console", lambda said: refused.append(said.text) if "Content Security" in said.text else None)
    browser_page.goto(compared)
    figure = browser_page.locator("#chart-capacity-outdoor")
    figure.get_by_role("button", name="Zoom into").click()
    figure.locator(".chart__live .mark-symbol.role-mark path").first.wait_for()
    browser_page.get_by_role("button", name="Quellmar W1").click()
    faded = 'document.querySelectorAll("#chart-capacity-outdoor .chart__live .mark-symbol path[opacity=\\"0.12\\"]")'
    browser_page.wait_for_function(f"{faded}.length == 6")
    browser_page.get_by_role("button", name="Show all alike").click()
    figure.locator(".chart__live .mark-symbol.role-mark path").first.hover()
    browser_page.wait_for_function("[...document.adoptedStyleSheets].some(sheet => sheet.cssRules.length)")
    figure.get_by_role("button", name="Back to the picture").click()
    assert figure.locator(".chart__draw svg").is_visible()
    assert figure.get_by_role("button", name="Zoom into").is_visible()
    assert refused == []


LABELS = """before => {
  const labels = document.querySelectorAll("#chart-capacity-outdoor .chart__live .role-axis-label text");
  return ([...labels].map(e => e.textContent).sort().join() == before.join()) == BACK;
}"""


def test_scrolling_over_a_zoomed_chart_changes_its_scale_and_a_double_click_brings_it_back(browser_page, compared):
    browser_page.goto(compared)
    figure = browser_page.locator("#chart-capacity-outdoor")
    figure.get_by_role("button", name="Zoom into").click()
    figure.locator(".chart__live .role-axis-label text").first.wait_for()
    before = sorted(figure.locator(".chart__live .role-axis-label text").all_text_contents())
    figure.locator(".chart__live svg").hover()
    browser_page.mouse.wheel(0, -400)
    browser_page.wait_for_function(LABELS.replace("BACK", "false"), arg=before)
    figure.locator(".chart__live svg").dblclick()
    browser_page.wait_for_function(LABELS.replace("BACK", "true"), arg=before)


def reach(page: Any, name: str) -> None:
    """Go on by the tab key to the button that is called so."""
    for _ in range(120):
        page.keyboard.press("Tab")
        said = page.evaluate("document.activeElement.ariaLabel || document.activeElement.textContent")
        if said == name:
            return
    raise AssertionError(f"“{name}” is not reached by the keyboard")


def spans(page: Any) -> list[tuple[str, float, float]]:
    """Return each axis that the chart says it shows, with its ends."""
    said = page.locator("#chart-capacity-outdoor [role=status]").inner_text().replace("−", "-").replace(",", "")
    found = re.findall(r"([^:;]+): ([-\d.]+) to ([-\d.]+)", said)
    return [(title.strip(), float(low), float(high)) for title, low, high in found]


def press(page: Any, name: str) -> list[tuple[str, float, float]]:
    """Reach a button by the tab key, press it, and return what the chart says it shows then."""
    reach(page, name)
    said = page.locator("#chart-capacity-outdoor [role=status]")
    before = said.inner_text()
    page.keyboard.press("Enter")
    changed = "before => document.querySelector('#chart-capacity-outdoor [role=status]').textContent !== before"
    page.wait_for_function(changed, arg=before)
    return spans(page)


@pytest.fixture
def zoomed_page(browser_page, compared) -> Any:
    """Return the page with a chart made to zoom by the keyboard alone."""
    browser_page.goto(compared)
    reach(browser_page, "Zoom into Capacity against outdoor temperature")
    browser_page.keyboard.press("Enter")
    browser_page.locator("#chart-capacity-outdoor .chart__live svg").wait_for()
    assert browser_page.evaluate("document.activeElement.textContent") == "Back to the picture"
    return browser_page


def test_a_chart_is_zoomed_and_moved_by_the_keyboard_alone(zoomed_page, keep_screenshot):
    """WCAG 2.2, 2.1.1 Keyboard and 2.5.7 Dragging Movements: all that dragging and scrolling do, buttons do."""
    (x, low, high), (y, bottom, top) = press(zoomed_page, "Zoom in")
    assert (x, y) == ("Outdoor temperature (°C)", "Cooling capacity (W)")
    assert low < (27 + 39) / 2 < high < 39  # the middle half of what was tested, 27 to 39 °C
    (_, further_low, further_high), (_, still, _) = press(zoomed_page, "Move right")
    assert further_low == pytest.approx(low + (high - low) / 4, abs=0.02)
    assert further_high == pytest.approx(high + (high - low) / 4, abs=0.02)
    assert still == bottom
    _, (_, raised, _) = press(zoomed_page, "Move up")
    assert raised == pytest.approx(bottom + (top - bottom) / 4, rel=0.002)
    labels = zoomed_page.locator("#chart-capacity-outdoor .chart__live .role-axis-label text").all_text_contents()
    assert not {"27", "28"} & set(labels)  # the picture moved, not its words alone
    keep_screenshot(zoomed_page, "zoomed-by-keyboard")
    (_, whole_low, whole_high), _ = press(zoomed_page, "Show all again")
    assert whole_low < 27 < 39 < whole_high


def test_a_zoomed_chart_is_accessible_and_left_by_the_keyboard_too(zoomed_page):
    refused: list[str] = []
    zoomed_page.on("console", lambda said: refused.append(said.text) if "Content Security" in said.text else None)
    press(zoomed_page, "Zoom in")
    found = Axe().run(zoomed_page, context="#chart-capacity-outdoor").response["violations"]
    assert [(rule["id"], rule["nodes"][0]["html"]) for rule in found] == []
    while zoomed_page.evaluate("document.activeElement.textContent") != "Back to the picture":
        zoomed_page.keyboard.press("Shift+Tab")
    zoomed_page.keyboard.press("Enter")
    assert zoomed_page.locator("#chart-capacity-outdoor .chart__draw svg").is_visible()
    said = zoomed_page.evaluate("document.activeElement.textContent")
    assert said == "Zoom into Capacity against outdoor temperature"
    assert refused == []


def test_a_chart_that_zooms_along_one_axis_has_no_buttons_for_the_other(browser_page, compared):
    browser_page.goto(compared)
    figure = browser_page.locator("#chart-ratio")
    figure.get_by_role("button", name="Zoom into").click()
    figure.get_by_role("button", name="Move left").wait_for()
    assert figure.get_by_role("button", name="Move up").count() == 0
    figure.get_by_role("button", name="Zoom out").click()
    browser_page.wait_for_function(
        "/claimed.*%.*: \\d\\d.* to 1\\d\\d/.test(document.querySelector('#chart-ratio [role=status]').textContent)"
    )


def test_on_the_page_of_one_unit_a_point_stands_out_in_all_charts(browser_page, bench):
    unit = builders.a_unit(bench=bench)
    for n, outdoor in enumerate((27.0, 35.0)):
        builders.a_published_point(unit=unit, label=f"run {n}", outdoor_temp_c=outdoor, limit=FULL)
    browser_page.goto(reverse("unit", args=[unit.pk]) + "?show=all")
    browser_page.locator("#chart-capacity-outdoor svg path[data-row][data-point^='run 1']").first.hover()
    marks = browser_page.eval_on_selector_all(
        "#chart-eer-outdoor svg path[data-row]", FAINT.replace("dataset.unit", "dataset.point.slice(0, 5)")
    )
    assert marks == ["run 0,true", "run 1,false"]


def test_without_a_script_there_is_no_button_that_does_nothing(chromium, live_server, compared):
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    page.goto(compared)
    assert page.locator("#chart-ratio svg").is_visible()
    assert not page.locator("[data-single]").first.is_visible()
    assert not page.locator("[data-live]").first.is_visible()
    context.close()
