"""The whole way in the browser: a unit, a session, its files, a capacity that a hand finds too, its publication."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests import builders
from tests.journeys import loggers
from tests.journeys.walking import PASSWORD, assert_fit_for_all, figure, sign_in
from tests_app.actions import mapping, upload, windows
from tests_app.models import Channel, Point, Session, SessionFile
from units.models import Bench, Person, Room, RoomValue

Look = Callable[[Any, str], None]
BTU_PER_H_PER_W = 3.412142  # Btu/(W·h), NIST SP 811, B.8, of the IT Btu
UA_OUTDOOR, UA_HALL = 11.96, 20.63  # W/K, case.json of the session


@pytest.fixture
def bench_of_four(transactional_db: None) -> Bench:
    """Return a bench with its people and the room of the session, characterised some weeks before."""
    bench = Bench.objects.create(name="Larkmoor Bench", slug="larkmoor", is_synthetic=True)
    for role in ("owner", "tester", "reader"):
        builders.a_person(bench=bench, role=role, username=role, password=PASSWORD)
    room = builders.a_room(bench=bench, name="North room", volume_m3=30.0, characterised=False)
    RoomValue.objects.create(
        room=room,
        valid_from="2024-07-01",
        surfaces=[
            {"to": "outdoor", "ua_w_per_k": UA_OUTDOOR, "u95_w_per_k": 1.96},
            {"to": "hall", "ua_w_per_k": UA_HALL, "u95_w_per_k": 3.5},
        ],
        c_eff_j_per_k=408_000.0,
        c_eff_u95_j_per_k=97_000.0,
        includes_infiltration=True,
        found_by="co-heating and off run",
    )
    return bench


@pytest.fixture
def look(keep_screenshot: Any) -> Look:
    """Return what looks at a page on the way: accessible, within a phone's width, kept as a picture."""

    def at(page: Any, moment: str) -> None:
        assert_fit_for_all(page)
        keep_screenshot(page, moment)

    return at


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
        "envelope to outdoor": UA_OUTDOOR * (temps["Outside"] - room_c),
        "envelope to hall": UA_HALL * (temps["Hall"] - room_c),
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


# --- what the scripts add ----------------------------------------------------------------------------------


@pytest.fixture
def session(bench_of_four: Bench) -> Session:
    """Return a session without files."""
    unit = builders.a_unit(bench=bench_of_four)
    room = Room.objects.get()
    return builders.a_session(bench=bench_of_four, unit=unit, room=room, time_zone=loggers.ZONE)


@pytest.fixture
def read_session(session: Session, tmp_path: Path) -> Session:
    """Return a session whose files are read."""
    files = [SimpleUploadedFile(path.name, path.read_bytes()) for path in loggers.write(tmp_path)]
    assert upload.keep_files(session=session, files=files, by=Person.objects.get(username="tester")).refused == []
    return session


@pytest.fixture
def proposed_session(read_session: Session) -> Session:
    """Return a session with confirmed channels and proposed windows."""
    by = Person.objects.get(username="tester")
    channels = list(Channel.objects.filter(file__session=read_session))
    said = {row.pk: {"place": "hall"} if "Hall" in row.column else {} for row in channels}
    mapping.confirm(channels=channels, choices=said, by=by)
    windows.propose(session=read_session, by=by)
    return read_session


def test_an_upload_goes_on_where_the_line_broke(
    session: Session, browser_page: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(upload, "PART_BYTES", 20_000)
    page, thermo = browser_page, loggers.write(tmp_path)[0]
    sent: list[int] = []

    def line(route: Any) -> None:
        offset = int(route.request.url.split("offset=")[1])
        sent.append(offset)
        route.abort() if sent == [0, 20_000, 40_000] else route.continue_()

    page.route("**/uploads/*/?offset=*", line)
    sign_in(page, "tester")
    page.goto(f"/sessions/{session.pk}/files/")
    page.get_by_label("Log files").set_input_files(thermo)
    page.get_by_role("button", name="Upload and read").click()
    page.get_by_text("line is down, trying again").wait_for()
    page.get_by_role("heading", name="What was read").wait_for()
    assert sent == [0, 20_000, 40_000, 40_000, 60_000, 80_000]
    assert SessionFile.objects.get().evidence.size_bytes == thermo.stat().st_size


def test_the_end_of_a_window_is_dragged(proposed_session: Session, browser_page: Any, keep_screenshot: Any) -> None:
    page, window = browser_page, proposed_session.windows.get()
    sign_in(page, "tester")
    page.goto(f"/sessions/{proposed_session.pk}/windows/")
    handle = page.locator(".handle[title$='drag its end']")
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 150, y, steps=5)
    page.mouse.up()
    keep_screenshot(page, "dragged")
    page.keyboard.type("The sun came round")  # the reason has the focus
    page.get_by_role("button", name="Use these ends").click()
    page.get_by_text("chosen by hand").wait_for()
    moved = proposed_session.windows.get()
    assert moved.start == window.start
    assert 30 * 60 < (window.end - moved.end).total_seconds() < 120 * 60
    assert moved.reason == "The sun came round"


def reach(page: Any, name: str) -> None:
    """Go on by the tab key to what is called so; each stop on the way must be seen to have the focus."""
    for _ in range(200):
        page.keyboard.press("Tab")
        said, outline = page.evaluate(
            "[document.activeElement.innerText || document.activeElement.ariaLabel || '',"
            " getComputedStyle(document.activeElement).outlineStyle]"
        )
        if outline == "none":
            raise AssertionError(f"the focus cannot be seen on “{said}”")
        if said.strip().startswith(name):
            return
    raise AssertionError(f"“{name}” is not reached by the keyboard")


def test_the_workbench_is_passed_by_the_keyboard_alone(read_session: Session, browser_page: Any) -> None:
    page = browser_page
    sign_in(page, "tester")
    page.goto(f"/sessions/{read_session.pk}/files/")
    ways = (
        ("Go on to the channels", "**/channels/"),
        ("Confirm all", "**/facts/"),
        ("Save and go on", "**/windows/"),
        ("Find steady windows", "**/windows/"),
    )
    for name, address in ways:
        reach(page, name)
        with page.expect_navigation(url=address):
            page.keyboard.press("Enter")
    for name in ("Accept", "Go on to the result", "Reduce"):
        reach(page, name)
        with page.expect_navigation():
            page.keyboard.press("Enter")
    page.get_by_role("heading", name="Heat balance").first.wait_for()
    assert Point.objects.get().capacity_w == pytest.approx(1684, abs=100)  # truth.json of the session
