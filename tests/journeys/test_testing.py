"""A tester's way in the browser: a unit, a session, its files, and a capacity that a hand finds too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests import builders
from tests.journeys import loggers
from tests.journeys.walking import PASSWORD, assert_fit_for_all, figure, sign_in
from units.models import Bench, Person, RoomValue

BTU_PER_H_PER_W = 3.412142  # Btu/(W·h), as METHOD states it
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


def add_unit(page: Any, keep: Any) -> None:
    """Enter the unit with two claims and tags."""
    page.goto("/units/new/")
    page.get_by_label("Maker").fill("Norvane")
    page.get_by_label("Model").fill("W9")
    page.get_by_label("Kind").select_option("window")
    page.get_by_label("Compressor").select_option("variable_speed")
    page.get_by_label("Tags").fill("quiet, series: Nord")
    for row, (quantity, value, unit) in enumerate((("capacity", "9000", "Btu/h"), ("eer", "9.8", "Btu/(W·h)"))):
        for name, said in (("quantity", quantity), ("quantity_unit", unit)):
            page.locator(f"select[name$='-{row}-{name}']").select_option(said)
        page.locator(f"input[name$='-{row}-value']").fill(value)
        page.locator(f"select[name$='-{row}-rating']").select_option(index=1)
    assert_fit_for_all(page)
    keep(page, "01-unit")
    page.get_by_role("button", name="Save").click()
    page.get_by_role("heading", name="Norvane W9").wait_for()


def add_session(page: Any, keep: Any) -> str:
    """Make the session and return its address."""
    page.goto("/sessions/new/")
    page.get_by_label("Name").fill("W9, a hot morning")
    page.get_by_label("Unit").select_option(label="Norvane W9")
    page.get_by_label("Room").select_option(label="North room")
    page.get_by_label("Time zone").fill(loggers.ZONE)
    assert_fit_for_all(page)
    keep(page, "02-session")
    page.get_by_role("button", name="Make the session").click()
    page.wait_for_url("**/files/")
    return page.url.removesuffix("files/")


def take_in(page: Any, files: list[Path], keep: Any) -> None:
    page.get_by_label("Log files").set_input_files(files)
    page.get_by_role("button", name="Upload and read").click()
    page.get_by_role("heading", name="What was read").wait_for()
    for file in files:
        page.get_by_role("heading", name=file.name).wait_for()
    assert_fit_for_all(page)
    keep(page, "03-files")
    page.get_by_role("link", name="Go on to the channels").click()


def confirm(page: Any, keep: Any) -> None:
    """Name the hall as the room's surfaces do, and confirm the rest as proposed."""
    page.locator("tr", has_text="Hall (°F)").get_by_label("Place of Hall").fill("hall")
    assert_fit_for_all(page)
    keep(page, "04-channels")
    page.get_by_role("button", name="Confirm").click()
    page.wait_for_url("**/facts/")


def state(page: Any, keep: Any) -> None:
    for what, watts in (("circulation fan", "50.4"), ("loggers and router", "35.4")):
        form = page.locator("[id^=id_fixed_loads]")
        row = page.locator("input[name^=fixed_loads][name$=what]").count() - 1
        page.locator(f"input[name=fixed_loads-{row}-what]").fill(what)
        page.locator(f"input[name=fixed_loads-{row}-power_w]").fill(watts)
        page.locator(f"input[name=fixed_loads-{row}-u95_w]").fill("1.5")
        assert form.count()
        page.get_by_role("button", name="Save and add another line").click()
        page.get_by_text("Saved.").wait_for()
    assert_fit_for_all(page)
    keep(page, "05-facts")
    page.get_by_role("button", name="Save and go on").click()
    page.wait_for_url("**/windows/")


def accept_one(page: Any, keep: Any) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Accept the longest proposed window and return its ends."""
    page.get_by_role("button", name="Find steady windows").click()
    page.locator("form[data-window]").first.wait_for()
    assert_fit_for_all(page)
    keep(page, "06-windows")
    forms = page.locator("form[data-window]")
    spans = [(forms.nth(i).get_attribute("data-start"), forms.nth(i).get_attribute("data-end")) for i in range(forms.count())]
    longest = max(range(len(spans)), key=lambda i: int(spans[i][1]) - int(spans[i][0]))
    forms.nth(longest).get_by_role("button", name="Accept").click()
    page.get_by_text("accepted", exact=True).wait_for()
    page.get_by_role("link", name="Go on to the result").click()
    start, end = (pd.Timestamp(int(text), unit="s", tz="UTC") for text in spans[longest])
    return start, end


def reduce(page: Any, keep: Any) -> None:
    page.get_by_role("button", name="Reduce").click()
    page.wait_for_url("**/result/")
    page.get_by_role("heading", name="Heat balance").first.wait_for()
    assert_fit_for_all(page)
    keep(page, "07-result")


def assert_a_hand_finds_the_same(page: Any) -> None:
    """Raise where the page's figures are not those of the files: heaters, envelope, power, sum, EER."""
    raise NotImplementedError


def test_from_a_unit_to_a_capacity_that_a_hand_finds_too(
    bench_of_four: Bench, browser_page: Any, keep_screenshot: Any, tmp_path: Path
) -> None:
    page, keep = browser_page, keep_screenshot
    sign_in(page, "tester")
    add_unit(page, keep)
    add_session(page, keep)
    take_in(page, loggers.write(tmp_path), keep)
    confirm(page, keep)
    state(page, keep)
    accept_one(page, keep)
    reduce(page, keep)
    (tmp_path.parent / "result.html").write_text(page.content())
    print(page.locator("main").inner_text())
