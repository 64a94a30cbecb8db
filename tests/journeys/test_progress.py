"""Long work is seen to move: the bar takes one value after the other, and the page ends on the result by itself."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command

from tests import builders
from tests.journeys.walking import PASSWORD, sign_in
from tests.units.test_archive_versions import FIRST
from tests_app import tasks
from tests_app.actions import jobs, mapping, reduce
from tests_app.models import Channel, Session
from units.actions import instruments
from units.models import Bench, CalibrationRecord, Instrument, Person

Shown = list[float]
ARRIVALS = "**/bench/arrivals/*/"


@pytest.fixture
def queue(settings: Any) -> None:
    """Let tasks wait for the worker of this test."""
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


def work() -> None:
    call_command("db_worker", batch=True, interval=0, startup_delay=False, verbosity=0)


@pytest.fixture
def plug(bench_of_three: Bench) -> Instrument:
    return builders.an_instrument(bench=bench_of_three, name="plug 1")


@pytest.fixture
def sessions(bench_of_three: Bench, plug: Instrument) -> list[Session]:
    """Return three reduced sessions whose heater hung on the plug."""
    by = Person.objects.get(username="owner")
    made = []
    for name in ("28 °C outside", "35 °C outside", "41 °C outside"):
        session = builders.a_session(bench=bench_of_three, with_logs=["temperatures", "plugs"], name=name)
        channels = list(Channel.objects.filter(file__session=session))
        choices = {c.pk: {"instrument": plug} if c.role.startswith("heater") else {} for c in channels}
        mapping.confirm(channels=channels, choices=choices, by=by)
        reduce.run_and_store(session=session, by=by)
        made.append(session)
    return made


@pytest.fixture
def corrected(sessions: list[Session], plug: Instrument) -> list[Session]:
    """Return the sessions after the plug was found to read three per cent too little."""
    found = CalibrationRecord(
        valid_from=builders.NOON.date() - timedelta(days=9), how="reference", gain_correction=1.03
    )
    instruments.calibrate(instrument=plug, calibration=found, by=Person.objects.get(username="owner"))
    return sessions


@pytest.fixture
def watched(monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], Shown]:
    """Return what waits, at each step that a worker reports, until the page shows it, and notes what it shows."""

    def watch(page: Any) -> Shown:
        shown: Shown = []
        report = jobs.report

        def reported(*, done_steps: int, **facts: Any) -> None:
            report(done_steps=done_steps, **facts)
            if not shown or abs(done_steps - shown[-1]) >= 20 or facts["job"].what == tasks.REREDUCTION:
                page.locator(f"progress[value='{done_steps}']").wait_for()
                shown.append(page.locator("progress").evaluate("bar => bar.value"))
            if facts["message"] == "Writing rows":  # in memory SQLite lets nobody read meanwhile: the line breaks off
                page.route(ARRIVALS, lambda route: route.abort())
                page.wait_for_timeout(500)

        monkeypatch.setattr(jobs, "report", reported)
        return shown

    return watch


def test_results_are_made_again_one_by_one_and_the_table_comes_by_itself(
    browser_page: Any, queue: None, corrected: list[Session], watched: Any, look: Any
) -> None:
    page = browser_page
    sign_in(page, "owner")
    page.goto("/again/")
    page.get_by_role("button", name="Reduce the ticked again").click()
    page.get_by_text("0 of 3: waiting for a free worker").wait_for()
    look(page, "waiting")
    shown = watched(page)
    work()
    page.get_by_text("3 sessions reduced again: 3 with a new result").wait_for()
    assert shown == [0, 1, 2]
    assert page.locator("progress").count() == 0
    assert page.get_by_role("row").count() == 1 + 3 * 2, "a heading; capacity and EER of each: power hangs elsewhere"
    look(page, "done")


def test_a_single_reduction_moves_and_ends_on_its_result(
    browser_page: Any, queue: None, corrected: list[Session], watched: Any
) -> None:
    page, session = browser_page, corrected[0]
    sign_in(page, "owner")
    page.goto(f"/sessions/{session.pk}/result/")
    page.get_by_role("button", name="Reduce again").click()
    page.get_by_text("Waiting for a free worker").wait_for()
    shown = watched(page)
    work()
    page.wait_for_url("**/result/")
    assert len(shown) >= 2
    assert shown == sorted(set(shown))


def test_an_export_moves_and_ends_on_its_file(
    browser_page: Any, queue: None, sessions: list[Session], watched: Any
) -> None:
    page = browser_page
    sign_in(page, "owner")
    page.goto("/bench/archive/")
    page.get_by_role("button", name="Make the archive").click()
    page.get_by_text("Waiting for a free worker").wait_for()
    shown = watched(page)
    work()
    page.get_by_role("link", name="Download larkmoor.bench.zip").wait_for()
    assert len(shown) >= 2


def test_a_bench_comes_in_while_the_bar_moves(
    browser_page: Any, queue: None, transactional_db: None, watched: Any, look: Any
) -> None:
    page = browser_page
    builders.a_person(username="nora", password=PASSWORD)
    sign_in(page, "nora")
    page.get_by_role("link", name="bring a bench in").click()
    look(page, "choose")
    page.get_by_label("Archive").set_input_files(FIRST)
    page.get_by_role("button", name="Look at it").click()
    shown = watched(page)
    work()
    page.get_by_text("Every digest and every row is as listed").wait_for()
    look(page, "looked-at")
    looked = len(shown)
    page.get_by_label("Which of these people are you?").select_option("odile")
    page.get_by_role("button", name="Bring it in").click()
    page.get_by_text("Waiting for a free worker").wait_for()
    work()
    page.unroute(ARRIVALS)  # the line is back, and the page goes on by itself
    page.get_by_text("Larkmoor Bench is here with all that its archive holds").wait_for()
    look(page, "here")
    assert looked >= 2
    assert len(shown) - looked >= 2
    page.get_by_role("button", name="Work at Larkmoor Bench").click()
    page.get_by_role("heading", name="Larkmoor Bench").wait_for()


def test_without_script_the_page_asks_again_by_itself(
    chromium: Any, live_server: Any, queue: None, corrected: list[Session]
) -> None:
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, "owner")
    page.goto("/again/")
    page.get_by_role("button", name="Reduce the ticked again").click()
    page.get_by_text("0 of 3: waiting for a free worker").wait_for()
    work()
    page.get_by_text("3 sessions reduced again").wait_for(timeout=15_000)
    context.close()


def test_work_is_cancelled_on_its_page_and_the_rest_done_later(
    browser_page: Any, queue: None, corrected: list[Session], look: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = browser_page
    sign_in(page, "owner")
    page.goto("/again/")
    page.get_by_role("button", name="Reduce the ticked again").click()
    again, done = reduce.run_and_store, []

    def cancelled_after_one(**facts: Any) -> Any:
        if done:
            page.get_by_text(f"1 of 3: {facts['session']}").wait_for()
            page.get_by_role("button", name="Cancel").click()
            page.get_by_text("1 of 3 sessions came to their turn").wait_for()
        done.append(again(**facts))
        return done[-1]

    with monkeypatch.context() as within:
        within.setattr(reduce, "run_and_store", cancelled_after_one)
        work()
    look(page, "cancelled")
    page.reload()
    page.get_by_text("2 of 3 sessions came to their turn").wait_for()  # the one in hand was finished
    page.get_by_role("button", name="Reduce the other one again").click()
    page.get_by_text("0 of 1").wait_for()
    work()
    page.get_by_text("1 session reduced again").wait_for()
    assert {session.reductions.count() for session in corrected} == {2}
