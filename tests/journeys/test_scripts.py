"""What the workbench's scripts add, and that the keyboard is enough: an upload that breaks off, a dragged window."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests import builders
from tests.journeys import loggers
from tests.journeys.walking import sign_in
from tests_app.actions import mapping, upload, windows
from tests_app.models import Channel, Point, Session, SessionFile
from units.models import Bench, Person, Room


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
    page.locator("#chart-timeline svg").evaluate("svg => svg.scrollIntoView()")  # it is taller than half a screen
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
