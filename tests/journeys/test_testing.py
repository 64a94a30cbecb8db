"""The whole way in the browser: a unit, a session, its files, a capacity that a hand finds too, its publication."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.journeys import loggers
from tests.journeys.walking import figure, sign_in
from tests_app.models import Point, Session
from units.models import Bench

Look = Callable[[Any, str], None]
BTU_PER_H_PER_W = 3.412142  # Btu/(W·h), NIST SP 811, B.8, of the IT Btu


@pytest.fixture
def scriptless_page(chromium: Any, live_server: Any) -> Iterator[Any]:
    """Open a page in a browser that runs no script."""
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    yield context.new_page()
    context.close()


def add_unit(page: Any, look: Look) -> None:
    """Enter the unit with two claims and tags."""
    page.goto("/units/new/")
    page.get_by_label("Maker").fill("Norvane")
    page.get_by_label("Model").fill("W9")
    page.get_by_label("Kind").select_option("window")
    page.get_by_label("Compressor").select_option("variable_speed")
    page.get_by_label("How obtained").select_option("bought")
    page.get_by_label("Afterwards").select_option(index=1)
    page.get_by_label("Serial").fill("SN-PRIVATE-77")
    page.get_by_label("Tags").fill("quiet, series: Nord")
    for row, (quantity, value, unit) in enumerate((("capacity", "9000", "Btu/h"), ("eer", "9.8", "Btu/(W·h)"))):
        for name, said in (("quantity", quantity), ("quantity_unit", unit)):
            page.locator(f"select[name$='-{row}-{name}']").select_option(said)
        page.locator(f"input[name$='-{row}-value']").fill(value)
        page.locator(f"select[name$='-{row}-rating']").select_option(index=1)
        page.locator(f"input[name$='-{row}-stated_in']").fill("data sheet")
    look(page, "01-unit")
    page.get_by_role("button", name="Save").click()
    page.get_by_role("heading", name="Norvane W9").wait_for()


def add_session(page: Any, look: Look) -> None:
    page.goto("/sessions/new/")
    page.get_by_label("Name").fill("W9, a hot morning")
    page.get_by_label("Unit").select_option(label="Norvane W9")
    page.get_by_label("Room").select_option(label="North room")
    page.get_by_label("Time zone").fill(loggers.ZONE)
    look(page, "02-session")
    page.get_by_role("button", name="Make the session").click()
    page.wait_for_url("**/files/")


def take_in(page: Any, files: list[Path], look: Look) -> None:
    page.get_by_label("Log files").set_input_files(files)
    page.get_by_role("button", name="Upload and read").click()
    page.get_by_role("heading", name="What was read").wait_for()
    for file in files:
        page.get_by_role("heading", name=file.name).wait_for()
    look(page, "03-files")
    page.get_by_role("link", name="Go on to the channels").click()


def confirm(page: Any, look: Look) -> None:
    """Name the hall as the room's surfaces do, and confirm the rest as proposed."""
    page.locator("tr", has_text="Hall (°F)").get_by_label("Place of Hall").fill("hall")
    look(page, "04-channels")
    page.get_by_role("button", name="Confirm").click()
    page.wait_for_url("**/facts/")


def state(page: Any, look: Look) -> None:
    for row, (what, watts) in enumerate((("circulation fan", "50.4"), ("loggers and router", "35.4"))):
        for field, said in (("what", what), ("power_w", watts), ("u95_w", "1.5")):
            page.locator(f"input[name=fixed_loads-{row}-{field}]").fill(said)
        page.get_by_role("button", name="Save and add another line").click()
        page.locator(f"input[name=fixed_loads-{row + 1}-what]").wait_for()
    look(page, "05-facts")
    page.get_by_role("button", name="Save and go on").click()
    page.wait_for_url("**/windows/")


def accept_one(page: Any, look: Look) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Accept the longest proposed window and return its ends."""
    page.get_by_role("button", name="Find steady windows").click()
    forms = page.locator("form[data-window]")
    forms.first.wait_for()
    look(page, "06-windows")
    spans = [
        tuple(int(forms.nth(i).get_attribute(f"data-{end}")) for end in ("start", "end")) for i in range(forms.count())
    ]
    longest = max(range(len(spans)), key=lambda i: spans[i][1] - spans[i][0])
    forms.nth(longest).get_by_role("button", name="Accept").click()
    page.get_by_text("accepted", exact=True).wait_for()
    page.get_by_role("link", name="Go on to the result").click()
    start, end = (pd.Timestamp(second, unit="s", tz="UTC") for second in spans[longest])
    return start, end


def reduce(page: Any, look: Look) -> None:
    page.get_by_role("button", name="Reduce").click()
    page.get_by_role("heading", name="Heat balance").first.wait_for()
    look(page, "07-result")


def by_hand(start: pd.Timestamp, end: pd.Timestamp) -> dict[str, float]:
    """Return the terms that means over the window give: heaters, fixed loads, UA·ΔT; and the unit's power."""
    inside = [
        table.loc[(table.index >= start) & (table.index < end)] for table in (loggers.power(), loggers.thermometers())
    ]
    plugs, temps = (table.mean() for table in inside)
    room_c = temps[[f"Room {n}" for n in range(1, 5)]].mean()
    return {
        "heater: heater_a_w": plugs["Heater A (W)"],
        "heater: heater_b_w": plugs["Heater B (W)"],
        "fixed load: circulation fan": 50.4,
        "fixed load: loggers and router": 35.4,
        "envelope to outdoor": loggers.UA_OUTDOOR * (temps["Outside"] - room_c),
        "envelope to hall": loggers.UA_HALL * (temps["Hall"] - room_c),
        "power": plugs["AC (W)"],
    }


def assert_a_hand_finds_the_same(page: Any, hand: dict[str, float]) -> None:
    """Raise where the page's figures are not those of the files, or do not add up."""
    table = page.locator("table", has_text="Terms in W, positive where heat enters the room")
    rows = [row.locator("th, td").all_inner_texts() for row in table.locator("tbody tr").all()]
    shown = {row[0]: figure(row[1]) for row in rows}
    capacity = shown.pop("Capacity, sensible")
    assert sum(shown.values()) == pytest.approx(capacity, abs=0.05 * len(rows) + 0.05)  # each to a tenth
    for name in hand.keys() & shown.keys():
        # The event log leaves out changes of 2 W or less; room probes are weighed by how well they stand for the room.
        assert shown[name] == pytest.approx(hand[name], abs=3.0), name
    assert len(hand.keys() & shown.keys()) == 6
    headline = {
        name: page.locator("dl.headline div", has=page.locator(f"dt:text-is('{name}')"))
        for name in ("Power", "EER", "COP")
    }
    power, eer, cop = (figure(line.first.locator("dd").inner_text()) for line in headline.values())
    assert power == pytest.approx(hand["power"], abs=10)  # shown to ten watts
    assert eer == pytest.approx(BTU_PER_H_PER_W * capacity / hand["power"], abs=0.15)  # shown to a tenth
    assert cop == pytest.approx(capacity / hand["power"], abs=0.04)


def publish(page: Any, look: Look) -> str:
    """Write a review of the unit, publish it, and return the address of the published page."""
    page.goto("/reviews/new/")
    page.get_by_label("Norvane").check()
    page.get_by_role("button", name="Save").click()
    page.get_by_role("textbox", name="Disclosure").fill("Bought by the bench in a shop. No ties to the maker.")
    page.get_by_role("textbox", name="Text").fill("## Found\n\nIt removed {{ P1 capacity }}.\n")
    page.locator("form", has=page.get_by_role("textbox", name="Disclosure")).get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    look(page, "09-review")
    page.goto(re.sub(r"[#?].*", "", page.url) + "publish/")
    page.get_by_label("I have read the preview").check()
    page.get_by_role("button", name="Publish").click()
    page.get_by_text(re.compile(r"^Edition \d is published\.$")).wait_for()
    review = Point.objects.get().unit.reviews.get()
    return f"/published/{review.slug}/"


def walk(page: Any, files: list[Path], look: Look) -> str:
    """Go the whole way as the owner and return the address of the published page."""
    sign_in(page, "owner")
    add_unit(page, look)
    add_session(page, look)
    take_in(page, files, look)
    confirm(page, look)
    state(page, look)
    start, end = accept_one(page, look)
    reduce(page, look)
    assert_a_hand_finds_the_same(page, by_hand(start, end))
    unit = Point.objects.get().unit
    page.goto(f"/units/{unit.pk}/")
    page.get_by_role("heading", name="Claims beside measurements").wait_for()
    assert page.get_by_text("9,000 Btu/h").or_(page.get_by_text("2,640 W")).count()
    look(page, "08-unit")
    return publish(page, look)


def assert_a_visitor_reads_and_writes_nothing(page: Any, address: str, look: Look) -> None:
    """Raise where the published page offers a write, or shows what stays on the bench."""
    assert page.goto(address).status == 200
    page.get_by_text("It removed").wait_for()
    look(page, "10-published")
    writes = page.locator("main form[method=post]")
    assert writes.count() == 0
    for private in ("SN-PRIVATE-77", "heater-plugs.csv", "energy-meter.csv", "thermo.csv"):
        assert private not in page.content()
    session = Session.objects.get()
    for inside in (f"/sessions/{session.pk}/result/", f"/sessions/{session.pk}/files/", "/units/", "/bench/"):
        page.goto(inside)
        assert "/account/sign-in/" in page.url


def test_from_a_unit_to_a_published_figure_that_a_hand_finds_too(
    bench_of_four: Bench, browser_page: Any, chromium: Any, live_server: Any, look: Look, tmp_path: Path
) -> None:
    address = walk(browser_page, loggers.write(tmp_path), look)
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 1280, "height": 900})
    assert_a_visitor_reads_and_writes_nothing(context.new_page(), address, look)
    context.close()


def test_the_whole_way_works_without_a_script(bench_of_four: Bench, scriptless_page: Any, tmp_path: Path) -> None:
    address = walk(scriptless_page, loggers.write(tmp_path), lambda page, moment: None)
    scriptless_page.goto(address)
    assert scriptless_page.locator("main svg").count()
